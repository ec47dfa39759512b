#include "app/readings_csv.h"

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <system_error>
#include <utility>

#include "core/moment.h"

namespace baskwell {
namespace {

constexpr std::size_t buffer_size = 1 << 20;
constexpr std::size_t longest_line = 1 << 16;
constexpr std::array<std::string_view, 8> field_names{"time",  "enclosure", "zone",    "quantity",
                                                      "value", "medium",    "channel", "received"};
constexpr std::size_t needed_fields = 5;
constexpr std::size_t most_columns = 32;

// Commas between fields; a field may stand in double quotes (RFC 4180) but none of ours holds a comma or a
// quote.
std::size_t split(std::string_view line, std::array<std::string_view, most_columns>& fields) {
  std::size_t count = 0;
  const char* at = line.data();
  const char* const end = at + line.size();
  while (count < most_columns) {
    const auto* comma = static_cast<const char*>(std::memchr(at, ',', static_cast<std::size_t>(end - at)));
    const char* const stop = comma != nullptr ? comma : end;
    std::string_view field(at, static_cast<std::size_t>(stop - at));
    if (field.size() >= 2 && field.front() == '"' && field.back() == '"')
      field = field.substr(1, field.size() - 2);
    fields[count++] = field;
    if (comma == nullptr) break;
    at = comma + 1;
  }
  return count;
}

}  // namespace

Result<ReadingsCsv> ReadingsCsv::open(const std::string& path) {
  ReadingsCsv csv;
  csv.file_.reset(std::fopen(path.c_str(), "rb"));
  if (!csv.file_) return Error{path + ": cannot be opened: " + std::generic_category().message(errno)};
  csv.buffer_.resize(buffer_size);
  if (Outcome header = csv.read_header(path); !header) return header.error();
  return csv;
}

Outcome ReadingsCsv::read_header(const std::string& path) {
  std::string_view line;
  if (!read_line(line))
    return Error{path + ":1: the file is empty; it must begin with time,enclosure,zone,quantity,value"};
  if (line.starts_with("\xEF\xBB\xBF")) line.remove_prefix(3);
  std::array<std::string_view, most_columns> names;
  column_count_ = split(line, names);
  for (std::size_t i = 0; i < column_count_; ++i) {
    const auto* const found = std::find(field_names.begin(), field_names.end(), names[i]);
    if (found == field_names.end()) {
      return Error{path + ":1: unknown column '" + std::string(names[i]) +
                   "'; allowed: time,enclosure,zone,quantity,value,medium,channel,received"};
    }
    columns_[found - field_names.begin()] = static_cast<int>(i);
  }
  for (std::size_t i = 0; i < needed_fields; ++i) {
    if (columns_[i] < 0) return Error{path + ":1: column '" + std::string(field_names[i]) + "' is missing"};
  }
  return Done{};
}

bool ReadingsCsv::read_line(std::string_view& line) {
  cut_ = false;
  while (true) {
    const auto* newline = static_cast<const char*>(std::memchr(buffer_.data() + begin_, '\n', end_ - begin_));
    if (newline != nullptr || (at_end_ && begin_ < end_)) {
      const std::size_t stop = newline != nullptr ? static_cast<std::size_t>(newline - buffer_.data()) : end_;
      line = {buffer_.data() + begin_, stop - begin_};
      begin_ = newline != nullptr ? stop + 1 : stop;
      if (!line.empty() && line.back() == '\r') line.remove_suffix(1);
      cut_ = cut_ || line.size() > longest_line;
      ++number_;
      return true;
    }
    if (at_end_) return false;
    if (end_ - begin_ > longest_line) {
      // No newline within what a line may be: forget its beginning, say so at its end.
      begin_ = end_;
      cut_ = true;
    }
    std::memmove(buffer_.data(), buffer_.data() + begin_, end_ - begin_);
    end_ -= begin_;
    begin_ = 0;
    const std::size_t got = std::fread(buffer_.data() + end_, 1, buffer_.size() - end_, file_.get());
    end_ += got;
    if (got == 0) {
      at_end_ = true;
      failed_ = std::ferror(file_.get()) != 0;
    }
  }
}

bool ReadingsCsv::next(ReadingLine& line, std::string_view& problem) {
  std::string_view text;
  do {
    if (!read_line(text)) return false;
  } while (text.empty());
  line.number = number_;
  problem = {};
  if (cut_) {
    problem = "the line is longer than 64 KB";
    return true;
  }
  std::array<std::string_view, most_columns> fields;
  if (split(text, fields) != column_count_) {
    problem = "the line has not as many fields as the header";
    return true;
  }
  const auto field = [&](std::size_t i) {
    return columns_[i] < 0 ? std::string_view() : fields[static_cast<std::size_t>(columns_[i])];
  };
  line.time = field(0);
  line.enclosure = field(1);
  line.zone = field(2);
  line.quantity = field(3);
  line.value = field(4);
  line.medium = field(5);
  line.channel = field(6);
  line.received = field(7);
  return true;
}

bool ReadingsCsv::rewind() {
  if (std::fseek(file_.get(), 0, SEEK_SET) != 0) return false;
  begin_ = end_ = 0;
  number_ = 0;
  at_end_ = false;
  std::string_view header;
  return read_line(header);
}

bool TimeReader::read(std::string_view text, UtcMs& at) {
  // The common shape "YYYY-MM-DDTHH:MM:SS[.mmm]Z" on a day seen before; everything else goes the long way.
  const auto digit = [&](std::size_t i) { return static_cast<unsigned>(text[i] - '0'); };
  const bool plain = text.size() == 20 && text[19] == 'Z';
  const bool with_ms = text.size() == 24 && text[19] == '.' && text[23] == 'Z';
  if ((plain || with_ms) && std::memcmp(text.data(), day_text_, 11) == 0) {
    const unsigned hour = digit(11) * 10 + digit(12);
    const unsigned minute = digit(14) * 10 + digit(15);
    const unsigned second = digit(17) * 10 + digit(18);
    const unsigned ms = with_ms ? digit(20) * 100 + digit(21) * 10 + digit(22) : 0;
    const auto all_digits = [&](std::initializer_list<std::size_t> places) {
      return std::all_of(places.begin(), places.end(), [&](std::size_t i) { return digit(i) <= 9; });
    };
    if (text[13] == ':' && text[16] == ':' && hour < 24 && minute < 60 && second < 60 &&
        all_digits({11, 12, 14, 15, 17, 18}) && (!with_ms || all_digits({20, 21, 22}))) {
      at.ms = day_start_ms_ + hour * hour_ms + minute * minute_ms + second * second_ms + ms;
      return true;
    }
  }
  const auto moment = utc_from_rfc3339(text);
  if (!moment) return false;
  at = *moment;
  if (text.back() == 'Z') {
    std::memcpy(day_text_, text.data(), 11);
    day_start_ms_ = local_day(ZoneRules{}, at) * day_ms;
    if (text[17] == '6') day_text_[0] = '\0';  // a leap second belongs to no remembered day
  }
  return true;
}

}  // namespace baskwell
