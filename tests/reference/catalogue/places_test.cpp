#include <erfa.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <string>

#include "polewright/catalogue.hpp"
#include "support/check_values.hpp"

using namespace polewright;

namespace {

constexpr std::uint32_t kNone = 0xFFFFFFFFu;

std::uint32_t named(const Catalogue& catalogue, const std::string& name) {
  for (const std::uint32_t i : catalogue.within({0, 0, 1}, Angle::deg(180), 6.0))
    if (catalogue.name(i) == name) return i;
  return kNone;
}

}  // namespace

TEST_CASE("bright stars are where the Hipparcos Catalogue has them at J2000") {
  // ICRS, epoch J2000.0, Hipparcos (ESA 1997) carried from 1991.25 to 2000.0; quoted from memory. The table's source is
  // rounded to 0.0001° in each coordinate: at most 0.25″ along the diagonal; the rest is for the quoted digits.
  struct Place {
    const char* name;
    double h, m, s, deg, arcmin, arcsec, magnitude;
  };
  const Place places[] = {
      {"Sirius", 6, 45, 8.917, -16, 42, 58.02, -1.44},     {"Canopus", 6, 23, 57.110, -52, 41, 44.38, -0.62},
      {"Arcturus", 14, 15, 39.672, 19, 10, 56.67, -0.05},  {"Vega", 18, 36, 56.336, 38, 47, 1.28, 0.03},
      {"Capella", 5, 16, 41.359, 45, 59, 52.77, 0.08},     {"Rigel", 5, 14, 32.272, -8, 12, 5.90, 0.18},
      {"Procyon", 7, 39, 18.119, 5, 13, 29.96, 0.40},      {"Betelgeuse", 5, 55, 10.305, 7, 24, 25.43, 0.45},
      {"Altair", 19, 50, 46.999, 8, 52, 5.96, 0.76},       {"Aldebaran", 4, 35, 55.239, 16, 30, 33.49, 0.87},
      {"Antares", 16, 29, 24.460, -26, 25, 55.21, 1.06},   {"Spica", 13, 25, 11.579, -11, 9, 40.75, 0.98},
      {"Fomalhaut", 22, 57, 39.046, -29, 37, 20.05, 1.17}, {"Deneb", 20, 41, 25.915, 45, 16, 49.22, 1.25},
      {"Polaris", 2, 31, 49.095, 89, 15, 50.79, 1.97}};
  const auto catalogue = Catalogue::open();
  REQUIRE(catalogue);
  for (const Place& p : places) {
    INFO(p.name);
    const auto ra = Angle::hours(p.h + p.m / 60 + p.s / 3600);
    const auto dec = Angle::deg(std::copysign(std::abs(p.deg) + p.arcmin / 60 + p.arcsec / 3600, p.deg));
    const auto index = named(*catalogue, p.name);
    REQUIRE(index != kNone);
    const CatalogueStar star = catalogue->star(index);
    CHECK(angle_between(star.direction, icrs_from_equatorial(ra, dec)).arcsec() < 0.5);
    CHECK(star.v_magnitude == Approx(p.magnitude).margin(0.03));
  }
}

TEST_CASE("the pole stars' distance from the mean pole of date") {
  // check-values.json, section 2_pole. The mean pole is the third row of ERFA's bias-precession matrix (IAU 2006).
  // Tolerance 0.01′: the table's 0.25″ and the radial velocity and parallax left out (below 0.2″ over a century).
  const auto catalogue = Catalogue::open();
  REQUIRE(catalogue);
  int checked = 0;
  for (const auto& value : test::check_values("2_pole")) {
    if (!value.contains("mean_polar_dist_arcmin")) continue;
    const bool north = value.at("star") == "Polaris";
    const auto index = named(*catalogue, north ? "Polaris" : "Polaris Australis");
    REQUIRE(index != kNone);
    const double jd = value.at("jd_tt");
    double matrix[3][3];
    eraPmat06(jd, 0.0, matrix);
    const double side = north ? 1.0 : -1.0;
    const Vec<Icrs> pole{side * matrix[2][0], side * matrix[2][1], side * matrix[2][2]};
    const Vec<Icrs> star = catalogue->direction(index, UtcTime::from_julian_date(jd, 0.0));
    CHECK(angle_between(star, pole).arcmin() == Approx(value.at("mean_polar_dist_arcmin").get<double>()).margin(0.01));
    ++checked;
  }
  CHECK(checked == 10);
}
