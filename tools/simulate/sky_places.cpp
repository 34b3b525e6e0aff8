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
  // The steps of eraAtciqz without its two changes between angles and vectors.
  eraASTROM& a = context_->astrom;
  double natural[3] = {star.x, star.y, star.z}, deflected[3], proper[3], out[3];
  eraLdsun(natural, a.eh, a.em, deflected);
  eraAb(deflected, a.v, a.em, a.bm1, proper);
  eraRxp(a.bpn, proper, out);
  return {out[0], out[1], out[2]};
}

Vec<Enu> SkyPlaces::observed(Intermediate star, double later_s) const {
  // The steps of eraAtioq in vectors, which is five times as fast; tests/reference compares the two. Polar motion is 0.
  const eraASTROM& a = context_->astrom;
  const double turn = a.eral + kEarthRotation_rad_per_s * later_s, c = std::cos(turn), s = std::sin(turn);
  const double east_still = c * star.y - s * star.x, shrink = 1.0 - a.diurab * east_still;
  const double meridian = shrink * (c * star.x + s * star.y), east = shrink * (east_still + a.diurab);
  const double polar = shrink * star.z;
  const double south = a.sphi * meridian - a.cphi * polar, up = a.cphi * meridian + a.sphi * polar;
  // Refraction: ERFA's A tan z + B tan³ z with one Newton step to the observed altitude, held below 3°.
  const double across = std::max(std::sqrt(south * south + east * east), 1e-6), height = std::max(up, 0.05);
  const double tan_z = across / height, w = a.refb * tan_z * tan_z;
  const double lift = (a.refa + w) * tan_z / (1.0 + (a.refa + 3.0 * w) / (height * height));
  const double cos_lift = 1.0 - 0.5 * lift * lift, f = cos_lift - lift * height / across;
  return Vec<Enu>{east * f, -south * f, cos_lift * up + lift * across}.unit();
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
