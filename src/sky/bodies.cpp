#include <erfa.h>
#include <erfam.h>

#include <array>
#include <cmath>

#include "polewright/sky.hpp"

namespace polewright {
namespace {

struct TtDate {
  double jd1 = 0, jd2 = 0;
};

TtDate terrestrial_time(UtcTime time) {
  double u1 = 0, u2 = 0, a1 = 0, a2 = 0;
  TtDate tt;
  time.julian_date(u1, u2);
  eraUtctai(u1, u2, &a1, &a2);
  eraTaitt(a1, a2, &tt.jd1, &tt.jd2);
  return tt;
}

Vec<Icrs> unit(const double p[3]) {
  return Vec<Icrs>{p[0], p[1], p[2]}.unit();
}

/// Heliocentric position of planet 1–8 at a date, au, equatorial J2000.
void heliocentric(TtDate tt, int planet, double p[3]) {
  double pv[2][3];
  eraPlan94(tt.jd1, tt.jd2, planet, pv);
  for (int i = 0; i < 3; ++i) p[i] = pv[0][i];
}

/// Earth from the Sun, au.
void earth_heliocentric(TtDate tt, double p[3]) {
  double heliocentric_pv[2][3], barycentric_pv[2][3];
  eraEpv00(tt.jd1, tt.jd2, heliocentric_pv, barycentric_pv);
  for (int i = 0; i < 3; ++i) p[i] = heliocentric_pv[0][i];
}

/// Site from the Earth's centre, au, in ICRS axes (rotation of the Earth and precession–nutation applied).
std::array<double, 3> site_from_geocentre(UtcTime time, TtDate tt, const Site& site) {
  double xyz[3], u1 = 0, u2 = 0, c2t[3][3], t2c[3][3], out[3];
  eraGd2gc(ERFA_WGS84, site.longitude.rad(), site.latitude.rad(), site.height_m, xyz);
  time.julian_date(u1, u2);
  eraC2t06a(tt.jd1, tt.jd2, u1, u2, 0.0, 0.0, c2t);
  eraTr(c2t, t2c);
  eraRxp(t2c, xyz, out);
  for (double& v : out) v /= ERFA_DAU;
  return {out[0], out[1], out[2]};
}

struct PlanetRow {
  BodyKind kind;
  const char* name;
  int number;
  double absolute_magnitude;  // V(1,0), Astronomical Almanac; enough to sort by brightness
};
constexpr std::array kPlanets{PlanetRow{BodyKind::mercury, "Mercury", 1, -0.6},
                              PlanetRow{BodyKind::venus, "Venus", 2, -4.4}, PlanetRow{BodyKind::mars, "Mars", 4, -1.5},
                              PlanetRow{BodyKind::jupiter, "Jupiter", 5, -9.4},
                              PlanetRow{BodyKind::saturn, "Saturn", 6, -8.9}};

Body planet_at(const PlanetRow& row, TtDate tt, double earth[3]) {
  double planet[3], seen[3], distance = 0.0;
  TtDate emitted = tt;
  for (int pass = 0; pass < 3; ++pass) {  // light time converges to 1e-6 s in two passes
    heliocentric(emitted, row.number, planet);
    eraPmp(planet, earth, seen);
    distance = eraPm(seen);
    emitted.jd2 = tt.jd2 - distance * ERFA_AULT / ERFA_DAYSEC;
  }
  return {row.kind, row.name, unit(seen), row.absolute_magnitude + 5.0 * std::log10(eraPm(planet) * distance)};
}

}  // namespace

std::vector<Body> bodies_at(UtcTime time, const Site& site) {
  const TtDate tt = terrestrial_time(time);
  double earth[3];
  earth_heliocentric(tt, earth);
  std::vector<Body> bodies;

  const double sun[3] = {-earth[0], -earth[1], -earth[2]};
  bodies.push_back({BodyKind::sun, "Sun", unit(sun), -26.7});

  double moon_pv[2][3];
  eraMoon98(tt.jd1, tt.jd2, moon_pv);
  const auto observer = site_from_geocentre(time, tt, site);
  const double moon[3] = {moon_pv[0][0] - observer[0], moon_pv[0][1] - observer[1], moon_pv[0][2] - observer[2]};
  bodies.push_back({BodyKind::moon, "Moon", unit(moon), -12.0});

  for (const PlanetRow& row : kPlanets) bodies.push_back(planet_at(row, tt, earth));
  return bodies;
}

Angle sun_altitude(UtcTime time, const Site& site) {
  Weather airless;
  airless.refraction = false;
  return altitude_of(SkyAt(time, site, airless).observed(bodies_at(time, site).front().direction));
}

Angle sidereal_time(UtcTime time, Angle longitude) {
  const TtDate tt = terrestrial_time(time);
  double u1 = 0, u2 = 0;
  time.julian_date(u1, u2);
  return (Angle::rad(eraGst06a(u1, u2, tt.jd1, tt.jd2)) + longitude).wrapped_positive();
}

double julian_years_since_j2000(UtcTime time) {
  const TtDate tt = terrestrial_time(time);
  return ((tt.jd1 - ERFA_DJ00) + tt.jd2) / ERFA_DJY;
}

Vec<Icrs> with_proper_motion(Vec<Icrs> j2000, Angle pm_ra_cosdec_per_year, Angle pm_dec_per_year, UtcTime time) {
  // Motion along the tangent plane: exact enough for arcseconds over a century, and well behaved at the pole.
  const double years = julian_years_since_j2000(time);
  const Angle ra = right_ascension_of(j2000), dec = declination_of(j2000);
  const Vec<Icrs> east{-sin(ra), cos(ra), 0.0};
  const Vec<Icrs> north{-sin(dec) * cos(ra), -sin(dec) * sin(ra), cos(dec)};
  return (j2000 + east * (pm_ra_cosdec_per_year.rad() * years) + north * (pm_dec_per_year.rad() * years)).unit();
}

}  // namespace polewright
