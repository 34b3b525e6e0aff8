// Apparent places straight from ERFA.
#pragma once

#include <memory>

#include "polewright/geometry.hpp"
#include "polewright/site.hpp"
#include "polewright/time.hpp"

namespace polewright::simulate {

/// The sky over a site around one instant. UT1 = UTC, no polar motion.
class SkyPlaces {
 public:
  SkyPlaces(UtcTime time, const Site& site, const Weather& weather);
  ~SkyPlaces();
  SkyPlaces(SkyPlaces&&) noexcept;
  SkyPlaces& operator=(SkyPlaces&&) noexcept;

  /// A star with the deflection, aberration and precession-nutation of the instant applied (unit vector, CIRS): good
  /// to 0.001″ for minutes, so that only the Earth's turn needs doing again.
  struct Intermediate {
    double x = 0.0, y = 0.0, z = 0.0;
  };
  [[nodiscard]] Intermediate intermediate(Vec<Icrs> star) const;
  /// Refracted direction `later_s` seconds after the instant.
  [[nodiscard]] Vec<Enu> observed(Intermediate star, double later_s) const;
  [[nodiscard]] Vec<Enu> observed(Vec<Icrs> star) const { return observed(intermediate(star), 0.0); }
  [[nodiscard]] Vec<Icrs> icrs(Vec<Enu> observed) const;

 private:
  struct Context;
  std::unique_ptr<Context> context_;
};

/// Direction of the visible pole, with or without refraction.
[[nodiscard]] Vec<Enu> visible_pole(const Site& site, const Weather& weather, bool refracted);

}  // namespace polewright::simulate
