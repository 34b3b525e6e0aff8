// The sky stage against published values; the source of each stands in check-values.json beside the value.
#include <erfa.h>
#include <erfam.h>

#include <catch2/catch.hpp>

#include "polewright/sky.hpp"
#include "support/check_values.hpp"

using namespace polewright;
using polewright::test::check_values;

namespace {

const nlohmann::json& entry(const std::string& section, const std::string& key, const std::string& name) {
  for (const auto& row : check_values(section))
    if (row.value(key, std::string()) == name) return row;
  throw std::runtime_error("no row " + name);
}

UtcTime utc_of(const nlohmann::json& v) {
  return UtcTime::from_calendar({v[0], v[1], v[2], v[3], v[4], v[5].get<double>()});
}

/// Mean J2000 places and proper motions of the two pole stars (Hipparcos, ESA 1997, as in the SIMBAD records; from
/// memory).
struct PoleStar {
  Angle ra, dec, pm_ra_cosdec, pm_dec;
};
PoleStar pole_star(const std::string& name) {
  if (name == "Polaris")
    return {Angle::hours(2 + 31.0 / 60 + 49.09456 / 3600), Angle::deg(89 + 15.0 / 60 + 50.7923 / 3600),
            Angle::arcsec(0.04448), Angle::arcsec(-0.01185)};
  return {Angle::hours(21 + 8.0 / 60 + 46.86357 / 3600), Angle::deg(-(88 + 57.0 / 60 + 23.3983 / 3600)),
          Angle::arcsec(0.02632), Angle::arcsec(0.00472)};
}

}  // namespace

TEST_CASE("sidereal time: Meeus, Astronomical Algorithms, example 12.a (1987-04-10 0h)") {
  const auto& row = entry("1_time", "name", "Meeus 12.a GAST");
  const Angle gast = sidereal_time(UtcTime::from_calendar({1987, 4, 10, 0, 0, 0.0}), Angle());
  // Meeus uses the IAU 1980 nutation and treats UT as UT1; newer models move the result by milliseconds.
  CHECK(gast.hours() * 3600.0 == Approx(row.at("published").get<double>()).margin(0.02));
}

TEST_CASE("sidereal time at four places (apparent, 2026)") {
  for (const auto& row : check_values("2_pole")) {
    if (!row.contains("LAST_rad")) continue;
    const Angle last = sidereal_time(utc_of(row.at("utc")), Angle::deg(row.at("lon").get<double>()));
    CHECK(Angle::rad(last.rad() - row.at("LAST_rad").get<double>()).wrapped_signed().arcsec() ==
          Approx(0).margin(0.05));
  }
}

TEST_CASE("pole distance of Polaris and sigma Octantis over a century") {
  int checked = 0;
  for (const auto& row : check_values("2_pole")) {
    if (!row.contains("app_polar_dist_arcmin")) continue;
    const PoleStar star = pole_star(row.at("star"));
    const UtcTime time = UtcTime::from_julian_date(row.at("jd_tt").get<double>(), -69.2 / 86400.0);
    // At the geographic north pole (south for the southern star) the airless distance to the zenith is the distance to
    // the celestial pole of date, as seen from there: diurnal parallax is nil, aberration as at the Earth's centre.
    Site pole_site;
    pole_site.latitude = Angle::deg(star.dec.rad() > 0 ? 90.0 : -90.0);
    Weather airless;
    airless.refraction = false;
    const SkyAt sky(time, pole_site, airless);
    const Vec<Icrs> place =
        with_proper_motion(icrs_from_equatorial(star.ra, star.dec), star.pm_ra_cosdec, star.pm_dec, time);
    const Angle distance = Angle::deg(90.0) - altitude_of(sky.observed(place));
    // 0.02′: leap seconds after today and polar motion are not modelled; both are far below.
    CHECK(distance.arcmin() == Approx(row.at("app_polar_dist_arcmin").get<double>()).margin(0.02));
    ++checked;
  }
  CHECK(checked == 10);
}

TEST_CASE("Polaris and sigma Octantis over real places, airless (ERFA through Python)") {
  int checked = 0;
  for (const auto& row : check_values("2_pole")) {
    if (!row.contains("alt_vac_deg")) continue;
    const PoleStar star = pole_star(row.at("star"));
    const UtcTime time = utc_of(row.at("utc"));
    const Site site{Angle::deg(row.at("lat").get<double>()), Angle::deg(row.at("lon").get<double>()), row.at("h_m")};
    Weather airless;
    airless.refraction = false;
    const Vec<Enu> seen = SkyAt(time, site, airless)
                              .observed(with_proper_motion(icrs_from_equatorial(star.ra, star.dec), star.pm_ra_cosdec,
                                                           star.pm_dec, time));
    // 0.5″: the table's star places carry parallax, which we leave out.
    CHECK(altitude_of(seen).deg() == Approx(row.at("alt_vac_deg").get<double>()).margin(0.5 / 3600));
    CHECK(Angle::deg(azimuth_of(seen).deg() - row.at("az_vac_deg").get<double>()).wrapped_signed().arcsec() ==
          Approx(0).margin(0.8));
    ++checked;
  }
  CHECK(checked == 5);
}

TEST_CASE("refraction raises the pole as published constants say") {
  struct Air {
    const char* column;
    double pressure_hpa, temperature_c, humidity, wavelength_um;
  };
  const Air airs[] = {{"erfa 1010hPa,10C,dry,.574", 1010, 10, 0, 0.574},
                      {"erfa 1013.25hPa,15C,50%,.55", 1013.25, 15, 0.5, 0.55},
                      {"erfa 850hPa,0C,50%,.55", 850, 0, 0.5, 0.55}};
  int checked = 0;
  for (const auto& row : check_values("3_refraction")) {
    if (row.value("name", "") != "refracted pole raise arcmin") continue;
    Site site;
    site.latitude = Angle::deg(-row.at("lat").get<double>());
    for (const Air& air : airs) {
      Weather weather{air.pressure_hpa, air.temperature_c, air.humidity, air.wavelength_um, true};
      const Angle raise = altitude_of(visible_pole(site, weather, ReferencePole::refracted)) - abs(site.latitude);
      CHECK(raise.arcmin() == Approx(row.at(air.column).get<double>()).margin(0.001));
      CHECK(altitude_of(visible_pole(site, weather, ReferencePole::true_pole)).deg() ==
            Approx(row.at("lat").get<double>()));
      CHECK(azimuth_of(visible_pole(site, weather, ReferencePole::refracted)).deg() == Approx(180.0));
    }
    ++checked;
  }
  CHECK(checked == 4);
}

TEST_CASE("refraction by altitude: ERFA through Python, and Saemundsson 1986") {
  Site site;
  Weather weather{1010.0, 10.0, 0.0, 0.574, true};
  for (const auto& row : check_values("3_refraction")) {
    if (!row.contains("erfa_arcmin_true") || row.at("erfa_arcmin_true").is_null()) continue;
    const double altitude = row.at("alt_deg");
    CHECK(refraction_at(Angle::deg(altitude), site, weather).arcmin() ==
          Approx(row.at("erfa_arcmin_true").get<double>()).margin(0.003));
    // Sæmundsson's formula (1010 hPa, 10 °C) is a round-number fit to older tables, 0.04–0.17′ above ERFA's here.
    CHECK(refraction_at(Angle::deg(altitude), site, weather).arcmin() ==
          Approx(row.at("saemundsson_arcmin_true").get<double>()).margin(0.18));
  }
}

TEST_CASE("standard atmosphere: U.S. Standard Atmosphere 1976 table (from memory)") {
  CHECK(standard_pressure_hpa(0) == Approx(1013.25));
  CHECK(standard_pressure_hpa(1000) == Approx(898.76).margin(0.1));
  CHECK(standard_pressure_hpa(2000) == Approx(795.01).margin(0.1));
  CHECK(standard_pressure_hpa(3000) == Approx(701.21).margin(0.2));
}

TEST_CASE("observed() and icrs() undo each other") {
  const Site site{Angle::deg(-33.9), Angle::deg(18.4), 25.0};
  const SkyAt sky(UtcTime::from_calendar({2026, 11, 25, 20, 0, 0.0}), site, Weather{});
  for (double altitude = 8.0; altitude < 89.0; altitude += 9.0)
    for (double azimuth = 5.0; azimuth < 360.0; azimuth += 40.0) {
      const Vec<Enu> v = enu_from_horizontal(Angle::deg(azimuth), Angle::deg(altitude));
      // ERFA's inverse refraction is approximate: 0.05″ at 8°.
      CHECK(angle_between(sky.observed(sky.icrs(v)), v).arcsec() < 0.1);
    }
}

TEST_CASE("the sky turns about the visible pole at the sidereal rate") {
  // IAU 2000 Resolution B1.8: 7.292115146706979e-5 rad/s; [eraEra00 rate in 1_time].
  const Site site{Angle::deg(46.0), Angle::deg(8.0), 1600.0};
  Weather airless;
  airless.refraction = false;
  const UtcTime t0 = UtcTime::from_calendar({2026, 11, 25, 20, 0, 0.0});
  const Vec<Icrs> star = icrs_from_equatorial(Angle::hours(3.0), Angle::deg(20.0));
  const Vec<Enu> a = SkyAt(t0, site, airless).observed(star),
                 b = SkyAt(t0.plus_seconds(600.0), site, airless).observed(star);
  const Vec<Enu> pole = visible_pole(site, airless, ReferencePole::true_pole);
  const Angle turn = Angle::rad(-hemisphere_sign(site) * kSiderealRate_rad_per_s * 600.0);
  // 1″: the pole of date differs from the latitude's pole only by what polar motion would be; nutation is in both
  // places.
  CHECK(angle_between(rotation_about(pole, turn) * a, b).arcsec() < 1.0);
}

TEST_CASE("Moon: Meeus, Astronomical Algorithms, example 47.a (1992-04-12 0h TD)") {
  // Published: apparent ecliptic longitude 133.162655°, latitude −3.229126°, distance 368409.7 km; eraMoon98 follows
  // the same theory. Here: the geocentric direction, taken as the mean over sites all around the equator and poles.
  const UtcTime time = UtcTime::from_calendar({1992, 4, 11, 23, 59, 0.816});  // TD − 59.184 s (TT − UTC in 1992)
  Vec<Icrs> sum;
  for (const double longitude : {0.0, 90.0, 180.0, 270.0}) {
    Site site;
    site.longitude = Angle::deg(longitude);
    for (const Body& body : bodies_at(time, site))
      if (body.kind == BodyKind::moon) sum = sum + body.direction;
  }
  const Vec<Icrs> moon = sum.unit();
  double ra = 0, dec = 0;
  double lon = Angle::deg(133.162655).rad(), lat = Angle::deg(-3.229126).rad();
  eraEceq06(2448724.5, 0.0, lon, lat, &ra, &dec);  // ecliptic of date → ICRS
  // 40″: Meeus' value includes nutation in longitude (17″) and the mean over four sites leaves parallax of second
  // order.
  CHECK(angle_between(moon, icrs_from_equatorial(Angle::rad(ra), Angle::rad(dec))).arcsec() < 40.0);
}

TEST_CASE("Venus: Meeus, Astronomical Algorithms, example 33.a (1992-12-20 0h TD)") {
  // Published apparent place: right ascension 21h04m41.454s, declination −18°53′16.84″ (equator of date).
  const UtcTime time = UtcTime::from_calendar({1992, 12, 19, 23, 59, 0.816});
  Site site;
  site.latitude = Angle::deg(90.0);
  Weather airless;
  airless.refraction = false;
  for (const Body& body : bodies_at(time, site)) {
    if (body.kind != BodyKind::venus) continue;
    const Vec<Enu> seen = SkyAt(time, site, airless).observed(body.direction);
    // From the pole altitude is declination. 1′ is the accuracy stated for the planets.
    CHECK(altitude_of(seen).deg() == Approx(-(18 + 53.0 / 60 + 16.84 / 3600)).margin(1.0 / 60));
  }
}

TEST_CASE("Sun altitude at the equinox: on the horizon for both poles within its declination's change") {
  // March equinox 2026-03-20 14:46 UTC (USNO Earth's seasons; from memory).
  Site pole;
  pole.latitude = Angle::deg(90.0);
  CHECK(std::abs(sun_altitude(UtcTime::from_calendar({2026, 3, 20, 14, 46, 0.0}), pole).arcmin()) < 0.5);
}
