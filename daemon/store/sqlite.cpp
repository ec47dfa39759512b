#include "store/sqlite.h"

#include <cmath>
#include <limits>
#include <utility>

#include "core/check.h"

namespace baskwell::store {
namespace {

// What a keeper can do something about, before SQLite's own words.
const char* plain_words(int primary_code) {
  switch (primary_code) {
    case SQLITE_FULL:
      return "the disk is full";
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
      return "another program holds the store";
    case SQLITE_READONLY:
      return "the store cannot be written";
    case SQLITE_IOERR:
      return "the disk does not take or give the data";
    case SQLITE_CORRUPT:
      return "the store's file is damaged";
    case SQLITE_NOTADB:
      return "the file is no store of Baskwell";
    case SQLITE_CANTOPEN:
      return "the store's file cannot be opened";
    default:
      return "the store failed";
  }
}

[[noreturn]] void fail(sqlite3* database, int code) {
  const int extended = database != nullptr ? sqlite3_extended_errcode(database) : code;
  std::string text = plain_words(code & 0xff);
  text += " (SQLite ";
  text += std::to_string(extended);
  text += ": ";
  text += database != nullptr ? sqlite3_errmsg(database) : sqlite3_errstr(code);
  text += ")";
  throw Trouble{extended, std::move(text)};
}

}  // namespace

Statement::Statement(sqlite3* database, std::string_view sql) {
  const int code = sqlite3_prepare_v3(database, sql.data(), static_cast<int>(sql.size()),
                                      SQLITE_PREPARE_PERSISTENT, &handle_, nullptr);
  if (code != SQLITE_OK) fail(database, code);
}

Statement::~Statement() {
  sqlite3_finalize(handle_);
}

Statement::Statement(Statement&& other) noexcept : handle_(std::exchange(other.handle_, nullptr)) {}

Statement& Statement::operator=(Statement&& other) noexcept {
  if (this != &other) {
    sqlite3_finalize(handle_);
    handle_ = std::exchange(other.handle_, nullptr);
  }
  return *this;
}

void Statement::check(int code) const {
  if (code != SQLITE_OK) fail(sqlite3_db_handle(handle_), code);
}

Statement& Statement::bind(int index, std::int64_t value) {
  check(sqlite3_bind_int64(handle_, index, value));
  return *this;
}

Statement& Statement::bind(int index, double value) {
  check(std::isnan(value) ? sqlite3_bind_null(handle_, index) : sqlite3_bind_double(handle_, index, value));
  return *this;
}

Statement& Statement::bind(int index, std::string_view value) {
  // An empty view may have no address, which SQLite would take for NULL.
  const char* data = value.data() != nullptr ? value.data() : "";
  check(sqlite3_bind_text64(handle_, index, data, value.size(), SQLITE_STATIC, SQLITE_UTF8));
  return *this;
}

bool Statement::step() {
  const int code = sqlite3_step(handle_);
  if (code == SQLITE_ROW) return true;
  if (code == SQLITE_DONE) return false;
  sqlite3* database = sqlite3_db_handle(handle_);
  try {
    fail(database, code);
  } catch (...) {
    sqlite3_reset(handle_);
    throw;
  }
}

void Statement::run() {
  while (step()) {
  }
  sqlite3_reset(handle_);
}

void Statement::reset() {
  sqlite3_reset(handle_);
}

std::int64_t Statement::integer(int column) const {
  return sqlite3_column_int64(handle_, column);
}

double Statement::real(int column) const {
  return is_null(column) ? std::numeric_limits<double>::quiet_NaN() : sqlite3_column_double(handle_, column);
}

std::string_view Statement::text(int column) const {
  const void* data = sqlite3_column_text(handle_, column);
  if (data == nullptr) return {};
  return {static_cast<const char*>(data), static_cast<std::size_t>(sqlite3_column_bytes(handle_, column))};
}

bool Statement::is_null(int column) const {
  return sqlite3_column_type(handle_, column) == SQLITE_NULL;
}

Database::Database(const std::string& path, int flags, const std::string& vfs) {
  const int code = sqlite3_open_v2(path.c_str(), &handle_, flags | SQLITE_OPEN_NOMUTEX,
                                   vfs.empty() ? nullptr : vfs.c_str());
  if (code != SQLITE_OK) {
    try {
      fail(handle_, code);
    } catch (...) {
      sqlite3_close(handle_);
      throw;
    }
  }
  sqlite3_extended_result_codes(handle_, 1);
  // A stranger's shell or our own reader may hold a lock for a moment.
  sqlite3_busy_timeout(handle_, 2'000);
}

Database::~Database() {
  // Statements are finalized before: members of the same owner, declared after the Database.
  const int code = sqlite3_close(handle_);
  CHECK(code == SQLITE_OK);
}

void Database::execute(const char* sql) {
  const int code = sqlite3_exec(handle_, sql, nullptr, nullptr, nullptr);
  if (code != SQLITE_OK) fail(handle_, code);
}

Statement Database::prepare(std::string_view sql) const {
  return {handle_, sql};
}

std::int64_t Database::integer(std::string_view sql) const {
  Statement statement = prepare(sql);
  return statement.step() ? statement.integer(0) : 0;
}

std::string Database::text(std::string_view sql) const {
  Statement statement = prepare(sql);
  return statement.step() ? std::string(statement.text(0)) : std::string();
}

std::int64_t Database::changes() const {
  return sqlite3_changes64(handle_);
}

void Database::roll_back() noexcept {
  // Some failures (a full disk) have already ended the transaction.
  if (sqlite3_get_autocommit(handle_) == 0) sqlite3_exec(handle_, "ROLLBACK", nullptr, nullptr, nullptr);
}

}  // namespace baskwell::store
