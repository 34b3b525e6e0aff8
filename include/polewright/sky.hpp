// Where things appear in the sky of a given site at a given instant. Computed with ERFA (IAU 2006/2000A, SOFA-derived).
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "polewright/geometry.hpp"
#include "polewright/site.hpp"
#include "polewright/time.hpp"

namespace polewright {

/// Sidereal angular velocity of the Earth, rad per second of UT1 (IAU 2000 Resolution B1.8).
inline constexpr double kSiderealRate_rad_per_s = 7.292115146706979e-5;

/// The sky over one site at one instant: star-independent astrometry is done once, then each place costs about 1 µs.
/// UT1 is taken as UTC and polar motion as zero (under 0.9 s of time and 0.5″).
class SkyAt {
 public:
  SkyAt(UtcTime time, const Site& site, const Weather& weather);
  ~SkyAt();
  SkyAt(SkyAt&&) noexcept;
  SkyAt& operator=(SkyAt&&) noexcept;

  /// Observed direction (aberration, refraction) of a star whose ICRS direction is given for the date (proper motion
  /// applied by the caller). Accuracy about 0.1″ above 15° altitude; below 3° ERFA limits the refraction, so that
  /// places under the horizon stay defined.
  [[nodiscard]] Vec<Enu> observed(Vec<Icrs> star) const;
  /// Inverse of observed().
  [[nodiscard]] Vec<Icrs> icrs(Vec<Enu> observed) const;
  [[nodiscard]] UtcTime time() const;

 private:
  struct Context;
  std::unique_ptr<Context> context_;
};

enum class ReferencePole { refracted, true_pole };

/// Direction of the visible celestial pole: north for latitude ≥ 0, else south; raised by refraction unless true_pole.
[[nodiscard]] Vec<Enu> visible_pole(const Site& site, const Weather& weather, ReferencePole pole);
/// +1 in the north, −1 in the south: the sign of the sky's turn seen facing the visible pole.
[[nodiscard]] inline double hemisphere_sign(const Site& site) {
  return site.latitude >= Angle() ? 1.0 : -1.0;
}

/// Pressure of the standard atmosphere at a height, hPa (ISO 2533 troposphere). Valid −400 to 9000 m.
[[nodiscard]] double standard_pressure_hpa(double height_m);
/// Atmospheric refraction (observed minus true altitude) for an object at `true_altitude`. Valid −1° to 90°.
[[nodiscard]] Angle refraction_at(Angle true_altitude, const Site& site, const Weather& weather);

/// Local apparent sidereal time.
[[nodiscard]] Angle sidereal_time(UtcTime time, Angle longitude);

enum class BodyKind { sun, moon, mercury, venus, mars, jupiter, saturn };
struct Body {
  BodyKind kind{};
  std::string name;
  Vec<Icrs> direction;     ///< astrometric direction as seen from the site (light time; parallax for the Moon)
  double magnitude = 0.0;  ///< rough, for brightness ordering
};
/// Sun, Moon and the bright planets. Accuracy: planets 1′ (ERFA plan94), Moon 10″ (ERFA moon98).
[[nodiscard]] std::vector<Body> bodies_at(UtcTime time, const Site& site);
/// Geometric altitude of the Sun's centre.
[[nodiscard]] Angle sun_altitude(UtcTime time, const Site& site);
/// Direction of a star at `time` given its J2000.0 direction and proper motion (μα·cosδ, μδ) per Julian year.
[[nodiscard]] Vec<Icrs> with_proper_motion(Vec<Icrs> j2000, Angle pm_ra_cosdec_per_year, Angle pm_dec_per_year,
                                           UtcTime time);
/// Julian years since J2000.0.
[[nodiscard]] double julian_years_since_j2000(UtcTime time);

}  // namespace polewright
