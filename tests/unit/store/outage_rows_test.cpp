// Outages in the store: what was written is read back, the newest state takes the place of the older one.
#include <gtest/gtest.h>

#include <cmath>
#include <utility>

#include "fixture.h"
#include "store/reader.h"

namespace baskwell::store {
namespace {

OutageRecord power_cut() {
  OutageRecord record;
  record.id = "O12";
  record.kind = OutageKind::mains;
  record.other = OutageKind::circuit;
  record.circuit = "shelf-circuit";
  record.stage = OutageStage::open;
  record.from = UtcMs{1'700'000'000'123};
  record.from_within_ms = 30'000;
  record.confidence = 0.7;
  record.evidence = "began to cool together: Shelf 1 and Shelf 2";
  OutageLine line;
  line.enclosure = "shelf-1";
  line.judged = line.fell = true;
  line.lowest_degc = 24.0625;
  line.fell_k = 5.5;
  record.lines.push_back(line);
  return record;
}

void commit(Store& store, OutageRecord record) {
  Batch batch;
  batch.outages.push_back(std::move(record));
  batch.urgent = true;
  store.submit(std::move(batch));
  ASSERT_TRUE(store.flush());
}

OutageRecord only_one(const std::string& file) {
  auto reader = StoreReader::open(file);
  EXPECT_TRUE(reader.ok());
  auto found = reader.value().outages("O12", 10);
  EXPECT_TRUE(found.ok());
  EXPECT_EQ(found.value().size(), 1U);
  return found.value().empty() ? OutageRecord() : found.value().front();
}

TEST(OutageRows, WhatIsNotKnownComesBackAsNotKnown) {
  const test::Folder folder;
  const auto store = test::open_store(folder.file());
  commit(*store, power_cut());
  const OutageRecord read = only_one(folder.file());
  EXPECT_EQ(read.kind, OutageKind::mains);
  EXPECT_EQ(read.other, OutageKind::circuit);
  EXPECT_EQ(read.circuit, "shelf-circuit");
  EXPECT_EQ(read.stage, OutageStage::open);
  EXPECT_EQ(read.from, UtcMs{1'700'000'000'123});
  EXPECT_FALSE(read.to.has_value());
  EXPECT_EQ(read.evidence, power_cut().evidence);
  ASSERT_EQ(read.lines.size(), 1U);
  EXPECT_TRUE(read.lines[0].fell);
  EXPECT_EQ(read.lines[0].lowest_degc, 24.0625);
  EXPECT_TRUE(std::isnan(read.lines[0].took_min));
  EXPECT_FALSE(read.lines[0].back_at.has_value());
  EXPECT_FALSE(read.lines[0].look);
}

TEST(OutageRows, TheNewestStateTakesThePlaceOfTheOlder) {
  const test::Folder folder;
  const auto store = test::open_store(folder.file());
  commit(*store, power_cut());
  OutageRecord later = power_cut();
  later.other.reset();
  later.stage = OutageStage::settled;
  later.to = later.from + 41 * minute_ms;
  later.lines[0].back_at = *later.to + 9 * minute_ms;
  later.lines[0].lights_late_min = 41.5;
  later.lines[0].look = true;
  later.lines[0].words = "lights run 41 min late";
  OutageLine second;
  second.enclosure = "shelf-2";
  later.lines.push_back(second);
  commit(*store, later);
  const OutageRecord read = only_one(folder.file());
  EXPECT_FALSE(read.other.has_value());
  EXPECT_EQ(read.stage, OutageStage::settled);
  EXPECT_EQ(read.to, later.to);
  ASSERT_EQ(read.lines.size(), 2U);
  EXPECT_EQ(read.lines[0].back_at, later.lines[0].back_at);
  EXPECT_EQ(read.lines[0].lights_late_min, 41.5);
  EXPECT_TRUE(read.lines[0].look);
  EXPECT_EQ(read.lines[1].enclosure, "shelf-2");
  EXPECT_EQ(StoreReader::open(folder.file()).value().record_ends().value().last_outage, 12U);
}

TEST(OutageRows, ListsTheNewestOldestFirst) {
  const test::Folder folder;
  const auto store = test::open_store(folder.file());
  for (const char* id : {"O2", "O9", "O10"}) {
    OutageRecord record = power_cut();
    record.id = id;
    commit(*store, record);
  }
  const auto found = StoreReader::open(folder.file()).value().outages({}, 2);
  ASSERT_TRUE(found.ok());
  ASSERT_EQ(found.value().size(), 2U);
  EXPECT_EQ(found.value()[0].id, "O9");
  EXPECT_EQ(found.value()[1].id, "O10");
  EXPECT_TRUE(StoreReader::open(folder.file()).value().outages("O3", 2).value().empty());
  EXPECT_TRUE(StoreReader::open(folder.file()).value().outages("sheep", 2).value().empty());
}

}  // namespace
}  // namespace baskwell::store
