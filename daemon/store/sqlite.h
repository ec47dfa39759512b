#pragma once
// SQLite behind two small owners, for store/ only. Failures are thrown as Trouble and caught at the border of
// the folder, where they become an Error. One thread at a time.

#include <sqlite3.h>

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace baskwell::store {

struct Trouble {
  int code;          // SQLite's extended code; 0: found by us
  std::string text;  // for a person
};

class Database;

// A prepared statement. Bound texts must live until the step.
class Statement {
 public:
  Statement() = default;
  Statement(sqlite3* database, std::string_view sql);
  ~Statement();
  Statement(Statement&& other) noexcept;
  Statement& operator=(Statement&& other) noexcept;

  Statement& bind(int index, std::int64_t value);
  Statement& bind(int index, double value);  // NaN becomes NULL
  Statement& bind(int index, std::string_view value);

  // One row further; false at the end.
  bool step();
  // All of it, and ready for the next binding.
  void run();
  void reset();

  [[nodiscard]] std::int64_t integer(int column) const;
  [[nodiscard]] double real(int column) const;  // NULL becomes NaN
  [[nodiscard]] std::string_view text(int column) const;
  [[nodiscard]] bool is_null(int column) const;

 private:
  void check(int code) const;
  sqlite3_stmt* handle_ = nullptr;
};

// A read that ends with its scope, so that an exception leaves no statement open.
class ResetAfter {
 public:
  explicit ResetAfter(Statement& statement) : statement_(statement) {}
  ~ResetAfter() { statement_.reset(); }
  ResetAfter(const ResetAfter&) = delete;
  ResetAfter& operator=(const ResetAfter&) = delete;

 private:
  Statement& statement_;
};

class Database {
 public:
  Database(const std::string& path, int flags, const std::string& vfs);
  ~Database();
  Database(const Database&) = delete;
  Database& operator=(const Database&) = delete;

  void execute(const char* sql);
  [[nodiscard]] Statement prepare(std::string_view sql) const;
  [[nodiscard]] std::int64_t integer(std::string_view sql) const;  // first column of the first row
  [[nodiscard]] std::string text(std::string_view sql) const;
  [[nodiscard]] std::int64_t changes() const;
  [[nodiscard]] sqlite3* handle() const { return handle_; }

  // Ends an open transaction, if there is one; never fails.
  void roll_back() noexcept;

 private:
  sqlite3* handle_ = nullptr;
};

}  // namespace baskwell::store
