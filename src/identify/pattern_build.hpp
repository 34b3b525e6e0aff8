// Building one level of the pattern index: which stars, their neighbours, their fans.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "catalogue/sky_cells.hpp"
#include "polewright/geometry.hpp"

namespace polewright {

struct BrightStar {
  Vec<Icrs> direction;
  std::uint32_t catalogue = 0;
};

struct LevelPlan {
  double spacing_deg = 0.0;
  std::uint32_t neighbours = 0;  ///< fans per star: neighbours choose 3
  bool every_star = false;
};

/// What a level stores; see PatternLevel.
struct LevelTables {
  std::uint32_t bands = 0, bins = 0;
  std::vector<std::uint32_t> first, catalogue;
  std::vector<std::array<float, 3>> direction;
  std::vector<std::uint32_t> neighbour, bucket;
  std::vector<std::array<std::uint8_t, 4>> code;
  std::vector<std::uint32_t> fan;
};

/// The stars of `bright` (brightest first) that have fewer than eight brighter ones within the radius that holds eight
/// stars at this spacing. Brightest first.
[[nodiscard]] std::vector<BrightStar> stars_of_level(const std::vector<BrightStar>& bright, double spacing_deg);

[[nodiscard]] LevelTables build_level(const std::vector<BrightStar>& stars, const LevelPlan& plan);

/// The i-th choice of three out of a fan's neighbours, in ascending order; the same list for every number of them.
struct Choice {
  std::uint8_t near, middle, far;
};
inline constexpr std::uint32_t kMaxNeighbours = 10;
[[nodiscard]] const std::array<Choice, 120>& neighbour_choices();
/// How many choices `neighbours` allow; the first ones of neighbour_choices().
[[nodiscard]] constexpr std::uint32_t choices_of(std::uint32_t neighbours) {
  return neighbours * (neighbours - 1) * (neighbours - 2) / 6;
}

}  // namespace polewright
