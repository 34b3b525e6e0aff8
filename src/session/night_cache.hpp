// Measured frames remembered from run to run, by content: SQLite in the XDG cache folder. A lost or damaged cache costs
// time, never an answer.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "session/night_record.hpp"

namespace polewright::session {

class NightCache {
 public:
  /// Opens or makes the cache. A damaged file is made anew, with a warning; a place that cannot be written gives a
  /// cache that remembers nothing, with a warning.
  explicit NightCache(const std::filesystem::path& file);
  /// Remembers nothing.
  NightCache();
  ~NightCache();
  NightCache(const NightCache&) = delete;
  NightCache& operator=(const NightCache&) = delete;

  /// Record of this file. A file of the same place, size and time of change is taken as unchanged without being read;
  /// else its content decides. Safe from several threads.
  [[nodiscard]] std::optional<FrameRecord> find(const std::filesystem::path& file);
  /// Keeps the record; it is on disk, as far as a killed program is concerned, when this returns.
  void keep(const std::filesystem::path& file, const FrameRecord& record);
  /// Crops of a frame whose record is kept, as a JPEG file with squares of this side. Nothing when damaged.
  [[nodiscard]] std::optional<std::string> crops(const std::filesystem::path& file, int side_px);
  void keep_crops(const std::filesystem::path& file, int side_px, const std::string& jpeg);
  /// Identification kept under this key; refusals (not `lasting`) only for a day.
  [[nodiscard]] std::optional<std::string> recall(std::uint64_t key);
  void note(std::uint64_t key, std::string_view result, bool lasting);
  [[nodiscard]] std::vector<std::string> warnings() const;

 private:
  struct Store;
  std::unique_ptr<Store> store_;
};

/// polewright/frames.sqlite in XDG_CACHE_HOME or ~/.cache; empty when neither is known.
[[nodiscard]] std::filesystem::path default_cache_file();

}  // namespace polewright::session
