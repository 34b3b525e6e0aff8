// PatternIndex: the fans of the whole sky, by shape, on several angular scales.
//
// Each level holds the stars that are among the brightest within a radius typical for that level, so that a level looks
// like the brightest stars of a picture of matching field. A fan of a level is a star and three of its nearest
// neighbours there. Levels step by about 1.65 in star spacing, from 20′ to 11°.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "catalogue/sky_cells.hpp"
#include "identify/fan.hpp"
#include "polewright/catalogue.hpp"

namespace polewright {

/// A fan as found in the index: positions of the anchor and, by distance, its neighbours within the level.
struct IndexedFan {
  std::array<std::uint32_t, 4> star;
};

/// One angular scale. Views into the index's memory.
class PatternLevel {
 public:
  /// Typical distance between stars of this level.
  [[nodiscard]] Angle spacing() const { return spacing_; }
  [[nodiscard]] std::uint32_t size() const { return static_cast<std::uint32_t>(catalogue_.size()); }
  [[nodiscard]] std::size_t fans() const { return fan_.size(); }
  [[nodiscard]] Vec<Icrs> direction(std::uint32_t star) const {
    return {direction_[star][0], direction_[star][1], direction_[star][2]};
  }
  [[nodiscard]] std::uint32_t catalogue_index(std::uint32_t star) const { return catalogue_[star]; }

  /// Calls visit(IndexedFan) for every fan whose code differs by at most `tolerance` in each number.
  template <class Visit>
  void visit_fans(const FanCode& code, double tolerance, Visit&& visit) const;
  /// Calls visit(star) for the stars in cells that touch the cone, some outside it; stops when it returns false.
  template <class Visit>
  void visit_stars(Vec<Icrs> centre, Angle radius, Visit&& visit) const;

 private:
  friend class PatternIndex;
  using Code = std::array<std::uint8_t, 4>;
  static constexpr double kCodeSteps = 127.5;
  [[nodiscard]] std::optional<IndexedFan> unpack(std::uint32_t fan) const;

  Angle spacing_;
  SkyCells cells_{1};
  std::uint32_t neighbours_ = 0, bins_ = 1;
  std::span<const std::uint32_t> first_;  ///< first star of each cell
  std::span<const std::uint32_t> catalogue_;
  std::span<const std::array<float, 3>> direction_;
  std::span<const std::uint32_t> neighbour_;  ///< neighbours_ per star, nearest first
  std::span<const std::uint32_t> bucket_;     ///< first fan of each bucket of codes
  std::span<const Code> code_;
  std::span<const std::uint32_t> fan_;  ///< anchor << 8 | which three neighbours
};

class PatternIndex {
 public:
  /// The index of this table from the user's cache folder (XDG_CACHE_HOME, else ~/.cache), built and written there when
  /// it is missing, out of date or damaged. Without a writable cache it is built in memory.
  static PatternIndex for_catalogue(const Catalogue& catalogue);
  /// Builds the index in memory, about 1.5 s on one core.
  static PatternIndex build(const Catalogue& catalogue);
  /// Maps an index file; nothing when it is missing, not of this version, not of this table or not whole.
  static std::optional<PatternIndex> open(const std::filesystem::path& path, const Catalogue& catalogue);
  /// Writes the index under a temporary name and renames it. False when that fails.
  [[nodiscard]] bool save(const std::filesystem::path& path) const;

  /// From the densest to the sparsest.
  [[nodiscard]] const std::vector<PatternLevel>& levels() const { return levels_; }
  [[nodiscard]] std::size_t bytes() const { return bytes_.size(); }

 private:
  static std::optional<PatternIndex> view(std::shared_ptr<const void> owner, std::span<const std::byte> bytes,
                                          std::uint64_t catalogue_checksum);
  std::shared_ptr<const void> owner_;
  std::span<const std::byte> bytes_;
  std::vector<PatternLevel> levels_;
};

template <class Visit>
void PatternLevel::visit_fans(const FanCode& code, double tolerance, Visit&& visit) const {
  std::array<int, 4> low, high;
  std::array<std::uint32_t, 4> first_bin, last_bin;
  for (std::size_t d = 0; d < 4; ++d) {
    // Half a step more on each side for the rounding of the stored code.
    low[d] = std::max(0, static_cast<int>(std::ceil((code[d] - tolerance + 1.0) * kCodeSteps - 0.5)));
    high[d] = std::min(255, static_cast<int>(std::floor((code[d] + tolerance + 1.0) * kCodeSteps + 0.5)));
    if (low[d] > high[d]) return;
    first_bin[d] = static_cast<std::uint32_t>(low[d]) * bins_ / 256;
    last_bin[d] = static_cast<std::uint32_t>(high[d]) * bins_ / 256;
  }
  const auto inside = [&](const Code& c) {
    return c[0] >= low[0] && c[0] <= high[0] && c[1] >= low[1] && c[1] <= high[1] && c[2] >= low[2] &&
           c[2] <= high[2] && c[3] >= low[3] && c[3] <= high[3];
  };
  for (std::uint32_t a = first_bin[0]; a <= last_bin[0]; ++a)
    for (std::uint32_t b = first_bin[1]; b <= last_bin[1]; ++b)
      for (std::uint32_t c = first_bin[2]; c <= last_bin[2]; ++c) {
        const std::uint32_t row = ((a * bins_ + b) * bins_ + c) * bins_;
        const auto end = std::min<std::size_t>(bucket_[row + last_bin[3] + 1], fan_.size());
        for (std::size_t i = bucket_[row + first_bin[3]]; i < end; ++i)
          if (inside(code_[i]))
            if (const auto fan = unpack(fan_[i])) visit(*fan);
      }
}

template <class Visit>
void PatternLevel::visit_stars(Vec<Icrs> centre, Angle radius, Visit&& visit) const {
  bool going = true;
  cells_.visit_cone(centre, radius, [&](std::uint32_t from, std::uint32_t to) {
    const std::uint32_t end = std::min(first_[to], size());
    for (std::uint32_t i = first_[from]; going && i < end; ++i) going = visit(i);
  });
}

}  // namespace polewright
