// What aberration and refraction do to a field, and the rotations that stand for it.
#pragma once

#include <vector>

#include "polewright/sky.hpp"

namespace polewright {

class ObservedSky {
 public:
  ObservedSky(UtcTime time, const Site& site) : sky_(time, site, Weather{}) {}

  [[nodiscard]] Vec<Enu> observed(Vec<Icrs> star) const { return sky_.observed(star); }
  /// Rotation that brings the stars' catalogue places nearest to their observed places (Wahba's problem).
  [[nodiscard]] Rotation<Enu, Icrs> nearest_rotation(const std::vector<Vec<Icrs>>& stars) const;
  /// The same turned by the least so that it is exact for what is observed at `centre`.
  [[nodiscard]] Rotation<Enu, Icrs> exact_at(Vec<Enu> centre, const Rotation<Enu, Icrs>& rotation) const;

 private:
  SkyAt sky_;
};

}  // namespace polewright
