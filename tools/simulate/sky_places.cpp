#include "simulate/sky_places.hpp"

#include <erfa.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace polewright::simulate {
namespace {

/// Earth rotation angle per second of UT1: 2π · 1.00273781191135448 / 86400 (IAU 2000 Resolution B1.8).
constexpr double kEarthRotation_rad_per_s = 7.292115146706979e-5;

/// Standard atmosphere (ISO 2533, troposphere): p = 1013.25 (1 − 2.25577e-5 h)^5.25588.
double pressure_hpa(const Site& site, const Weather& weather) {
  if (!weather.refraction) return 0.0;
  return weather.pressure_hpa.value_or(1013.25 * std::pow(1.0 - 2.25577e-5 * site.height_m, 5.25588));
}

}  // namespace

struct SkyPlaces::Context {
  eraASTROM astrom{};
};

SkyPlaces::SkyPlaces(UtcTime time, const Site& site, const Weather& weather) : context_(std::make_unique<Context>()) {
  double jd1 = 0.0, jd2 = 0.0, equation_of_origins = 0.0;
  time.julian_date(jd1, jd2);
  // The status only warns of dates outside the leap-second table, where extrapolation is what we want.
  eraApco13(jd1, jd2, 0.0, site.longitude.rad(), site.latitude.rad(), site.height_m, 0.0, 0.0,
            pressure_hpa(site, weather), weather.temperature_c, weather.relative_humidity, weather.wavelength_um,
            &context_->astrom, &equation_of_origins);
}
SkyPlaces::~SkyPlaces() = default;
SkyPlaces::SkyPlaces(SkyPlaces&&) noexcept = default;
SkyPlaces& SkyPlaces::operator=(SkyPlaces&&) noexcept = default;

SkyPlaces::Intermediate SkyPlaces::intermediate(Vec<Icrs> star) const {
  Intermediate out;
  eraAtciqz(std::atan2(star.y, star.x), std::atan2(star.z, std::hypot(star.x, star.y)), &context_->astrom, &out.ra,
            &out.dec);
  return out;
}

Vec<Enu> SkyPlaces::observed(Intermediate star, double later_s) const {
  double azimuth = 0.0, zenith_distance = 0.0, hour_angle = 0.0, declination = 0.0, ra = 0.0;
  // Turning the Earth is turning the star's right ascension back; saves a copy of the context.
  eraAtioq(star.ra - kEarthRotation_rad_per_s * later_s, star.dec, &context_->astrom, &azimuth, &zenith_distance,
           &hour_angle, &declination, &ra);
  const double s = std::sin(zenith_distance);
  return {std::sin(azimuth) * s, std::cos(azimuth) * s, std::cos(zenith_distance)};
}

Vec<Icrs> SkyPlaces::icrs(Vec<Enu> v) const {
  double ri = 0.0, di = 0.0, rc = 0.0, dc = 0.0;
  eraAtoiq("A", std::atan2(v.x, v.y), std::atan2(std::hypot(v.x, v.y), v.z), &context_->astrom, &ri, &di);
  eraAticq(ri, di, &context_->astrom, &rc, &dc);
  return icrs_from_equatorial(Angle::rad(rc), Angle::rad(dc));
}

Vec<Enu> visible_pole(const Site& site, const Weather& weather, bool refracted) {
  const double latitude = std::abs(site.latitude.rad());
  double altitude = latitude;
  const double pressure = pressure_hpa(site, weather);
  if (refracted && pressure > 0.0) {
    double a = 0.0, b = 0.0;
    eraRefco(pressure, weather.temperature_c, weather.relative_humidity, weather.wavelength_um, &a, &b);
    // ERFA's law is z_true = z_obs + A tan z_obs + B tan³ z_obs; a few rounds of substitution solve it.
    const double z_true = std::max(0.0, 0.5 * std::numbers::pi - latitude);
    double z = z_true;
    for (int i = 0; i < 20; ++i) {
      const double t = std::tan(std::min(z, 1.5));
      z = z_true - (a + b * t * t) * t;
    }
    altitude = 0.5 * std::numbers::pi - z;
  }
  return enu_from_horizontal(site.latitude.rad() >= 0.0 ? Angle() : Angle::deg(180.0), Angle::rad(altitude));
}

}  // namespace polewright::simulate
