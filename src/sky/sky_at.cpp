#include <erfa.h>
#include <erfam.h>

#include <algorithm>
#include <cassert>
#include <cmath>

#include "polewright/sky.hpp"

namespace polewright {
namespace {

double pressure_of(const Site& site, const Weather& weather) {
  if (!weather.refraction) return 0.0;
  return weather.pressure_hpa.value_or(standard_pressure_hpa(site.height_m));
}

}  // namespace

struct SkyAt::Context {
  UtcTime time;
  eraASTROM astrom{};
  double latitude_rad = 0.0;
};

SkyAt::SkyAt(UtcTime time, const Site& site, const Weather& weather) : context_(std::make_unique<Context>()) {
  context_->time = time;
  context_->latitude_rad = site.latitude.rad();
  double jd1 = 0, jd2 = 0, equation_of_origins = 0;
  time.julian_date(jd1, jd2);
  const int status = eraApco13(jd1, jd2, 0.0, site.longitude.rad(), site.latitude.rad(), site.height_m, 0.0, 0.0,
                               pressure_of(site, weather), weather.temperature_c, weather.relative_humidity,
                               weather.wavelength_um, &context_->astrom, &equation_of_origins);
  assert(status >= 0 && "time outside the range ERFA can represent");
  (void)status;
}

SkyAt::~SkyAt() = default;
SkyAt::SkyAt(SkyAt&&) noexcept = default;
SkyAt& SkyAt::operator=(SkyAt&&) noexcept = default;

UtcTime SkyAt::time() const {
  return context_->time;
}

Vec<Enu> SkyAt::observed(Vec<Icrs> star) const {
  eraASTROM astrom = context_->astrom;
  double ri = 0, di = 0;
  eraAtciqz(right_ascension_of(star).rad(), declination_of(star).rad(), &astrom, &ri, &di);
  double azimuth = 0, zenith = 0, ha = 0, dec = 0, ra = 0;
  eraAtioq(ri, di, &astrom, &azimuth, &zenith, &ha, &dec, &ra);
  return enu_from_horizontal(Angle::rad(azimuth), Angle::rad(0.5 * ERFA_DPI - zenith));
}

Vec<Icrs> SkyAt::icrs(Vec<Enu> observed) const {
  eraASTROM astrom = context_->astrom;
  double ri = 0, di = 0, ra = 0, dec = 0;
  eraAtoiq("A", azimuth_of(observed).rad(), 0.5 * ERFA_DPI - altitude_of(observed).rad(), &astrom, &ri, &di);
  eraAticq(ri, di, &astrom, &ra, &dec);
  return icrs_from_equatorial(Angle::rad(ra), Angle::rad(dec));
}

double standard_pressure_hpa(double height_m) {
  return 1013.25 * std::pow(1.0 - 2.25577e-5 * height_m, 5.25588);
}

Angle refraction_at(Angle true_altitude, const Site& site, const Weather& weather) {
  double a = 0, b = 0;
  eraRefco(pressure_of(site, weather), weather.temperature_c, weather.relative_humidity, weather.wavelength_um, &a, &b);
  // Observed zenith distance Z solves z = Z + A tan Z + B tan³ Z; fixed-point iteration converges fast above −1°.
  const double z = 0.5 * ERFA_DPI - std::max(true_altitude.rad(), -1.0 * ERFA_DD2R);
  const double steepest = 86.5 * ERFA_DD2R;  // the expansion's range
  double observed = z;
  for (int i = 0; i < 20; ++i) {
    const double t = std::tan(std::min(observed, steepest));
    observed = z - (a * t + b * t * t * t);
  }
  return Angle::rad(z - observed);
}

Vec<Enu> visible_pole(const Site& site, const Weather& weather, ReferencePole pole) {
  const Angle true_altitude = abs(site.latitude);
  const Angle lift = pole == ReferencePole::refracted ? refraction_at(true_altitude, site, weather) : Angle();
  const Angle azimuth = hemisphere_sign(site) > 0 ? Angle() : Angle::deg(180.0);
  return enu_from_horizontal(azimuth, true_altitude + lift);
}

}  // namespace polewright
