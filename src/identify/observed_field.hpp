// Where the air and the Earth's motion put the stars of a field: catalogue places are not what the camera sees.
#pragma once

#include <vector>

#include "identify/field.hpp"
#include "polewright/site.hpp"
#include "polewright/time.hpp"

namespace polewright {

/// The rotation nearest to what aberration and refraction did to the directions, and what is left of it.
struct ObservedField {
  Rotation<Enu, Icrs> enu_from_icrs;  ///< best rotation from catalogue to observed places of this field
  std::vector<Vec<Icrs>> direction;   ///< observed places turned back by it
  Angle lowest_altitude;              ///< of the field's stars
};

/// Needs at least two stars.
[[nodiscard]] ObservedField observe(const std::vector<FieldStar>& field, UtcTime time, const Site& site);

}  // namespace polewright
