#include "session/night_cache.hpp"

#include <fmt/format.h>
#include <sqlite3.h>
#include <sys/stat.h>

#include <cstdlib>
#include <mutex>

#include "session/night_bytes.hpp"
#include "session/night_hash.hpp"
#include "session/night_identified.hpp"
#include "session/page_pictures.hpp"

namespace polewright::session {
namespace {

namespace fs = std::filesystem;

constexpr int kApplicationId = 0x506f6c77;  // "Polw": so that no other database is taken for the cache
constexpr int kLayout = 1;
/// About 250 MB of records; the oldest go first.
constexpr int kMostRecords = 20000;
/// About 100 MB of crops.
constexpr int kMostCrops = 5000;

constexpr const char* kTables =
    "CREATE TABLE IF NOT EXISTS measured(content INTEGER, version TEXT, used INTEGER, record BLOB,"
    " PRIMARY KEY(content, version)) WITHOUT ROWID;"
    "CREATE TABLE IF NOT EXISTS seen(path TEXT PRIMARY KEY, size INTEGER, changed_ns INTEGER, content INTEGER) WITHOUT "
    "ROWID;"
    "CREATE TABLE IF NOT EXISTS identified(key INTEGER, version TEXT, used INTEGER, lasting INTEGER, result BLOB,"
    " PRIMARY KEY(key, version)) WITHOUT ROWID;"
    "CREATE TABLE IF NOT EXISTS crops(content INTEGER, version TEXT, side INTEGER, used INTEGER, strip BLOB,"
    " PRIMARY KEY(content, version, side));";

struct Stamp {
  std::int64_t size = 0, changed_ns = 0;
};

std::optional<Stamp> stamp_of(const fs::path& file) {
  struct stat st {};
  if (::stat(file.c_str(), &st) != 0) return {};
  return Stamp{st.st_size, st.st_mtim.tv_sec * 1000000000LL + st.st_mtim.tv_nsec};
}

std::string absolute_name(const fs::path& file) {
  std::error_code failed;
  const fs::path whole = fs::weakly_canonical(file, failed);
  return (failed ? file : whole).string();
}

/// Bits of a hash as SQLite's signed integer.
std::int64_t as_signed(std::uint64_t v) {
  return static_cast<std::int64_t>(v);
}

class Statement {
 public:
  Statement(sqlite3* db, const char* sql) { result_ = ::sqlite3_prepare_v2(db, sql, -1, &statement_, nullptr); }
  ~Statement() { ::sqlite3_finalize(statement_); }
  Statement(const Statement&) = delete;
  Statement& operator=(const Statement&) = delete;

  Statement& bind(int at, std::int64_t v) { return note(::sqlite3_bind_int64(statement_, at, v)); }
  Statement& bind(int at, std::string_view text) {
    return note(::sqlite3_bind_text(statement_, at, text.data(), static_cast<int>(text.size()), SQLITE_STATIC));
  }
  Statement& blob(int at, std::string_view bytes) {
    return note(::sqlite3_bind_blob(statement_, at, bytes.data(), static_cast<int>(bytes.size()), SQLITE_STATIC));
  }
  /// True while there is a row.
  bool step() {
    if (result_ != SQLITE_OK && result_ != SQLITE_ROW) return false;
    result_ = ::sqlite3_step(statement_);
    return result_ == SQLITE_ROW;
  }
  [[nodiscard]] std::int64_t integer(int column) { return ::sqlite3_column_int64(statement_, column); }
  [[nodiscard]] std::string_view bytes(int column) {
    const auto* data = static_cast<const char*>(::sqlite3_column_blob(statement_, column));
    return {data, static_cast<std::size_t>(::sqlite3_column_bytes(statement_, column))};
  }
  /// The statement failed because the file is not what it should be.
  [[nodiscard]] bool damaged() const {
    const int code = result_ & 0xff;
    return code == SQLITE_CORRUPT || code == SQLITE_NOTADB || code == SQLITE_ERROR || code == SQLITE_MISMATCH;
  }
  [[nodiscard]] bool failed() const { return result_ != SQLITE_OK && result_ != SQLITE_ROW && result_ != SQLITE_DONE; }

 private:
  Statement& note(int code) {
    if (result_ == SQLITE_OK) result_ = code;
    return *this;
  }
  sqlite3_stmt* statement_ = nullptr;
  int result_ = SQLITE_OK;
};

}  // namespace

struct NightCache::Store {
  fs::path file;
  sqlite3* db = nullptr;
  std::mutex mutex;
  std::vector<std::string> warnings;

  ~Store() { close(); }

  void close() {
    ::sqlite3_close(db);
    db = nullptr;
  }

  [[nodiscard]] bool run(const char* sql) { return ::sqlite3_exec(db, sql, nullptr, nullptr, nullptr) == SQLITE_OK; }

  [[nodiscard]] std::int64_t pragma(const char* sql) {
    Statement s(db, sql);
    return s.step() ? s.integer(0) : -1;
  }

  /// True when the file is a cache of ours (an empty one included) and its tables can be read.
  [[nodiscard]] bool usable() {
    const std::int64_t id = pragma("PRAGMA application_id"), layout = pragma("PRAGMA user_version");
    const std::int64_t pages = pragma("PRAGMA page_count");
    if (pages > 0 && (id != kApplicationId || layout != kLayout)) return false;
    // The write-ahead log survives a killed program, and NORMAL keeps the file whole without a disk flush per frame.
    if (!run("PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;")) return false;
    if (pages == 0 &&
        !run(fmt::format("PRAGMA application_id={}; PRAGMA user_version={};", kApplicationId, kLayout).c_str()))
      return false;
    return run(kTables) && pragma("SELECT count(*) FROM measured") >= 0 && pragma("SELECT count(*) FROM seen") >= 0;
  }

  [[nodiscard]] bool connect() {
    if (::sqlite3_open_v2(file.c_str(), &db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_FULLMUTEX,
                          nullptr) != SQLITE_OK) {
      close();
      return false;
    }
    ::sqlite3_busy_timeout(db, 5000);
    return true;
  }

  void open() {
    std::error_code failed;
    fs::create_directories(file.parent_path(), failed);
    if (connect() && usable()) return;
    const bool existed = fs::exists(file, failed) && fs::file_size(file, failed) > 0;
    close();
    if (existed) rebuild();
    if (db == nullptr && !existed)
      warnings.push_back(fmt::format("{}: cannot be written; measured frames will not be remembered", file.string()));
  }

  void rebuild() {
    close();
    std::error_code failed;
    for (const char* tail : {"", "-wal", "-shm"}) fs::remove(fs::path(file.string() + tail), failed);
    warnings.push_back(fmt::format("{}: the cache of measured frames was damaged and is made anew", file.string()));
    if (connect() && usable()) return;
    close();
    warnings.push_back(fmt::format("{}: cannot be written; measured frames will not be remembered", file.string()));
  }

  [[nodiscard]] std::optional<std::int64_t> content_seen(const std::string& name, const Stamp& stamp) {
    Statement s(db, "SELECT content FROM seen WHERE path=? AND size=? AND changed_ns=?");
    s.bind(1, name).bind(2, stamp.size).bind(3, stamp.changed_ns);
    if (s.step()) return s.integer(0);
    if (s.damaged()) rebuild();
    return {};
  }

  void remember(const std::string& name, const Stamp& stamp, std::int64_t content) {
    Statement s(db, "INSERT OR REPLACE INTO seen VALUES(?,?,?,?)");
    s.bind(1, name).bind(2, stamp.size).bind(3, stamp.changed_ns).bind(4, content);
    s.step();
    if (s.damaged()) rebuild();
  }

  [[nodiscard]] std::optional<FrameRecord> record(std::int64_t content) {
    Statement s(db, "SELECT record FROM measured WHERE content=? AND version=?");
    s.bind(1, content).bind(2, kRecordVersion);
    if (s.step()) return unpack(s.bytes(0));
    if (s.damaged()) rebuild();
    return {};
  }
};

NightCache::NightCache() : store_(std::make_unique<Store>()) {}

NightCache::NightCache(const fs::path& file) : NightCache() {
  store_->file = file;
  store_->open();
}

NightCache::~NightCache() {
  if (store_->db == nullptr) return;
  (void)store_->run(
      fmt::format(
          "DELETE FROM measured WHERE content IN (SELECT content FROM measured ORDER BY used DESC LIMIT -1 OFFSET {});"
          "DELETE FROM seen WHERE content NOT IN (SELECT content FROM measured);"
          "DELETE FROM identified WHERE key IN (SELECT key FROM identified ORDER BY used DESC LIMIT -1 OFFSET {});"
          "DELETE FROM crops WHERE rowid IN (SELECT rowid FROM crops ORDER BY used DESC LIMIT -1 OFFSET {});",
          kMostRecords, kMostRecords, kMostCrops)
          .c_str());
}

std::optional<FrameRecord> NightCache::find(const fs::path& file) {
  const auto stamp = stamp_of(file);
  if (!stamp) return {};
  const std::string name = absolute_name(file);
  {
    const std::lock_guard lock(store_->mutex);
    if (store_->db == nullptr) return {};
    if (const auto content = store_->content_seen(name, *stamp)) return store_->record(*content);
  }
  const auto content = hash_file(file);  // outside the lock: it reads the whole file
  if (!content) return {};
  const std::lock_guard lock(store_->mutex);
  if (store_->db == nullptr) return {};
  auto record = store_->record(as_signed(*content));
  if (record && store_->db != nullptr) store_->remember(name, *stamp, as_signed(*content));
  return record;
}

void NightCache::keep(const fs::path& file, const FrameRecord& record) {
  {
    const std::lock_guard lock(store_->mutex);
    if (store_->db == nullptr) return;
  }
  const auto stamp = stamp_of(file);
  const auto content = hash_file(file);
  const auto later = stamp_of(file);
  // A file that changed under the measurement is not worth remembering.
  if (!stamp || !content || !later || later->size != stamp->size || later->changed_ns != stamp->changed_ns) return;
  const std::string bytes = pack(record);
  const std::lock_guard lock(store_->mutex);
  if (store_->db == nullptr) return;
  bool damaged = false;
  {
    Statement s(store_->db, "INSERT OR REPLACE INTO measured VALUES(?,?,strftime('%s','now'),?)");
    s.bind(1, as_signed(*content)).bind(2, kRecordVersion).blob(3, bytes);
    s.step();
    damaged = s.damaged();
    if (s.failed() && !damaged) return;  // disk full, locked: this frame is measured again next time
  }
  if (damaged)
    store_->rebuild();
  else
    store_->remember(absolute_name(file), *stamp, as_signed(*content));
}

std::optional<std::string> NightCache::crops(const fs::path& file, int side_px) {
  const auto stamp = stamp_of(file);
  if (!stamp) return {};
  const std::string name = absolute_name(file);
  const std::lock_guard lock(store_->mutex);
  if (store_->db == nullptr) return {};
  const auto content = store_->content_seen(name, *stamp);
  if (!content || store_->db == nullptr) return {};
  std::optional<std::string> out;
  bool damaged = false;
  {
    Statement s(store_->db, "SELECT strip FROM crops WHERE content=? AND version=? AND side=?");
    s.bind(1, *content).bind(2, kCropsVersion).bind(3, side_px);
    if (s.step()) {
      auto reader = opened(s.bytes(0));
      if (reader) (*reader)(out.emplace());
      if (reader && !reader->complete()) out.reset();
    }
    damaged = s.damaged();
  }
  if (damaged) store_->rebuild();
  return out;
}

void NightCache::keep_crops(const fs::path& file, int side_px, const std::string& jpeg) {
  const auto stamp = stamp_of(file);
  if (!stamp) return;
  Writer out;
  out(jpeg);
  const std::string bytes = sealed(std::move(out)), name = absolute_name(file);
  const std::lock_guard lock(store_->mutex);
  if (store_->db == nullptr) return;
  const auto content = store_->content_seen(name, *stamp);
  if (!content || store_->db == nullptr) return;
  bool damaged = false;
  {
    Statement s(store_->db, "INSERT OR REPLACE INTO crops VALUES(?,?,?,strftime('%s','now'),?)");
    s.bind(1, *content).bind(2, kCropsVersion).bind(3, side_px).blob(4, bytes);
    s.step();
    damaged = s.damaged();
  }
  if (damaged) store_->rebuild();
}

std::optional<std::string> NightCache::recall(std::uint64_t key) {
  const std::lock_guard lock(store_->mutex);
  if (store_->db == nullptr) return {};
  std::optional<std::string> out;
  bool damaged = false;
  {
    Statement s(store_->db,
                "SELECT result FROM identified WHERE key=? AND version=?"
                " AND (lasting OR used > strftime('%s','now') - 86400)");
    s.bind(1, as_signed(key)).bind(2, kIdentifiedVersion);
    if (s.step()) out = std::string(s.bytes(0));
    damaged = s.damaged();
  }
  if (damaged) store_->rebuild();
  return out;
}

void NightCache::note(std::uint64_t key, std::string_view result, bool lasting) {
  const std::lock_guard lock(store_->mutex);
  if (store_->db == nullptr) return;
  bool damaged = false;
  {
    Statement s(store_->db, "INSERT OR REPLACE INTO identified VALUES(?,?,strftime('%s','now'),?,?)");
    s.bind(1, as_signed(key)).bind(2, kIdentifiedVersion).bind(3, lasting ? 1 : 0).blob(4, result);
    s.step();
    damaged = s.damaged();
  }
  if (damaged) store_->rebuild();
}

std::vector<std::string> NightCache::warnings() const {
  const std::lock_guard lock(store_->mutex);
  return store_->warnings;
}

fs::path default_cache_file() {
  if (const char* xdg = std::getenv("XDG_CACHE_HOME"); xdg != nullptr && *xdg == '/')
    return fs::path(xdg) / "polewright/frames.sqlite";
  if (const char* home = std::getenv("HOME"); home != nullptr && *home == '/')
    return fs::path(home) / ".cache/polewright/frames.sqlite";
  return {};
}

}  // namespace polewright::session
