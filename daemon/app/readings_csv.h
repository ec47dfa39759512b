#pragma once
// The readings file of `baskwell replay`: CSV with the header `time,enclosure,zone,quantity,value` and, after
// these or among them, any of `medium`, `channel`, `received`. Times are RFC 3339; values in degC, %RH, lux,
// W. Enclosure `room` is the room's own air. Read in one pass with fixed memory; nothing is allocated per
// line. One thread.

#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "core/result.h"
#include "core/time.h"

namespace baskwell {

// One line, as views into the reader's buffer: valid until the next line is read.
struct ReadingLine {
  std::uint64_t number = 0;  // 1 is the header
  std::string_view time, enclosure, zone, quantity, value;
  std::string_view medium, channel, received;  // "" where the file has no such column
};

class ReadingsCsv {
 public:
  [[nodiscard]] static Result<ReadingsCsv> open(const std::string& path);

  // The next line that has fields; false at the end. `problem` is not empty when the line cannot be taken
  // apart (its fields are then not to be used): too few fields, or longer than 64 KB.
  bool next(ReadingLine& line, std::string_view& problem);
  // Back to the first line after the header. False where the file is a pipe.
  bool rewind();

  [[nodiscard]] bool has_received() const { return columns_[7] >= 0; }
  [[nodiscard]] bool read_failed() const { return failed_; }

 private:
  ReadingsCsv() = default;
  bool read_line(std::string_view& line);
  Outcome read_header(const std::string& path);

  struct Close {
    void operator()(std::FILE* file) const { std::fclose(file); }
  };
  std::unique_ptr<std::FILE, Close> file_;
  std::vector<char> buffer_;
  std::size_t begin_ = 0;
  std::size_t end_ = 0;
  std::uint64_t number_ = 0;
  bool failed_ = false;
  bool at_end_ = false;
  bool cut_ = false;  // the line was too long
  std::size_t column_count_ = 0;
  int columns_[8] = {-1, -1, -1, -1, -1, -1, -1, -1};  // position of each field of ReadingLine
};

// RFC 3339 with the day remembered from call to call: most lines of a file are of one day.
class TimeReader {
 public:
  [[nodiscard]] bool read(std::string_view text, UtcMs& at);

 private:
  char day_text_[11] = {};
  std::int64_t day_start_ms_ = 0;
};

}  // namespace baskwell
