#include "app/status_text.h"

#include <gtest/gtest.h>

#include <boost/json.hpp>

namespace baskwell {
namespace {

namespace json = boost::json;

json::object well() {
  return json::parse(R"({"version":"1.2","settings_version":3,"enclosures":1,"channels":12,
      "store":{"path":"/var/room.db","working":true,"trouble":"","readings_stored":1,"readings_dropped":0,"transactions":9},
      "delivery":{"attempts":3,"delivered":2,"failed":1,"waiting":0,"dropped":0},"clock_sure":true})")
      .as_object();
}

TEST(StatusText, SaysHowThingsStand) {
  EXPECT_EQ(status_text(well()),
            "Baskwell 1.2\n"
            "  watching   1 enclosure with 12 channels, settings version 3\n"
            "  store      works\n"
            "             1 reading in 9 commits since the start\n"
            "             /var/room.db\n"
            "  messages   2 delivered, 0 waiting; 3 attempts, 1 failed\n"
            "  clock      kept by a time service\n");
}

TEST(StatusText, LeavesNoTroubleUnsaid) {
  json::object status = well();
  json::object& store = status.at("store").as_object();
  store["working"] = false;
  store["trouble"] = "database or disk is full";
  store["readings_dropped"] = 40;
  status.at("delivery").as_object()["dropped"] = 2;
  status["clock_sure"] = false;
  EXPECT_EQ(status_text(status),
            "Baskwell 1.2\n"
            "  watching   1 enclosure with 12 channels, settings version 3\n"
            "  store      CANNOT BE WRITTEN: database or disk is full\n"
            "             1 reading in 9 commits since the start, 40 DROPPED\n"
            "             /var/room.db\n"
            "  messages   2 delivered, 0 waiting; 3 attempts, 1 failed, 2 DROPPED\n"
            "  clock      NOT SURE: see `baskwell alarms`, clock-unsure\n");
}

}  // namespace
}  // namespace baskwell
