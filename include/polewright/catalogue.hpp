// The packed star table: positions and magnitudes of 373 000 stars, memory-mapped.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <vector>

#include "polewright/geometry.hpp"
#include "polewright/result.hpp"
#include "polewright/time.hpp"

namespace polewright {

/// One star of the table. Direction is ICRS, epoch J2000.0.
struct CatalogueStar {
  Vec<Icrs> direction;
  double v_magnitude = 0.0;
  bool has_proper_motion = false;  ///< then Catalogue::direction() applies it
};

/// Read-only star table. Indices are stable for one file version. Copying shares the mapping.
class Catalogue {
 public:
  /// Opens the table that came with the program, or the one at `path`. Searched in this order: stars.bin in the folder
  /// POLEWRIGHT_DATA, ../share/polewright and the folder of the running program, the source tree it was built from.
  /// Errors: catalogue_missing, file_truncated, file_unreadable (damaged), file_unsupported (other version),
  /// format_unknown.
  static Result<Catalogue> open(const std::optional<std::filesystem::path>& path = {});

  [[nodiscard]] std::size_t size() const;
  /// Identifies the table's content, for files derived from it.
  [[nodiscard]] std::uint64_t checksum() const;
  [[nodiscard]] CatalogueStar star(std::uint32_t index) const;
  /// Direction at `time`, with proper motion where the table has it.
  [[nodiscard]] Vec<Icrs> direction(std::uint32_t index, UtcTime time) const;
  /// Stars within `radius` of `centre` and not fainter than `faintest`, brightest first.
  [[nodiscard]] std::vector<std::uint32_t> within(Vec<Icrs> centre, Angle radius, double faintest) const;
  /// Common name of a bright star ("Vega"), or its designation; empty when it has none in the table.
  [[nodiscard]] const char* name(std::uint32_t index) const;

 private:
  struct Map;
  explicit Catalogue(std::shared_ptr<const Map> map);
  std::shared_ptr<const Map> map_;
};

}  // namespace polewright
