// The catalogue's stars in a field, at the frame's date.
#pragma once

#include <optional>
#include <vector>

#include "polewright/catalogue.hpp"

namespace polewright {

struct FieldStar {
  std::uint32_t catalogue = kNoStar;
  Vec<Icrs> direction;  ///< where the camera model is to find it
  double v_magnitude = 0.0;
  static constexpr std::uint32_t kNoStar = 0xFFFFFFFFu;
};

/// About `wanted` of the brightest stars of a cone (all when it holds fewer), brightest first.
[[nodiscard]] std::vector<FieldStar> field_stars(const Catalogue& catalogue, Vec<Icrs> centre, Angle radius,
                                                 std::size_t wanted, std::optional<UtcTime> time);

}  // namespace polewright
