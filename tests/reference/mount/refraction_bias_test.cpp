// What ignoring refraction does to the axis, against the check values 6d_refraction_bias: a mount exactly on the true
// or on the refracted pole, looked at with an airless sky.
#include <catch2/catch.hpp>

#include "support/check_values.hpp"
#include "truth/mount/sessions/session.hpp"

using namespace polewright;
using namespace polewright::test;

TEST_CASE("bias when refraction is ignored, and none when it is not") {
  int compared = 0;
  for (const auto& c : check_values("6d_refraction_bias")) {
    if (!c.contains("refr_pole")) continue;
    SessionSpec spec;
    spec.site = {Angle::deg(c.at("lat").get<double>()), Angle(), 0.0};
    spec.pressure_hpa = 1013.25;
    spec.focal_mm = 50.0;
    spec.axes = {{}};
    const Angle half = Angle::rad(0.5 * kSiderealRate_rad_per_s * 180.0);
    spec.pointings = {{Angle::hours(c.at("H").get<double>()) - half, Angle::deg(c.at("dec").get<double>()), Angle()}};
    // The shear that the remark on the tolerance is about grows steeply towards the horizon.
    if (altitude_of(enu_of(spec.site, spec.pointings[0].hour_angle, spec.pointings[0].declination)).deg() < 30.0)
      continue;
    // The camera's columns along the meridian of the sky, as in the other check values.
    const Vec<Enu> z = enu_of(spec.site, spec.pointings[0].hour_angle, spec.pointings[0].declination);
    const Vec<Enu> level = z.cross(Vec<Enu>{0, 0, 1}).unit(), down = z.cross(level);
    const Vec<Enu> west = z.cross(enu_of(spec.site, Angle(), Angle::deg(90.0))).unit();
    spec.pointings[0].roll = Angle::rad(std::atan2(west.dot(down), west.dot(level)));
    spec.frames = {{0.0}, {180.0}};
    SessionNoise exact;
    exact.star_sigma_px = 0.0;
    exact.stars = 2500;
    std::mt19937_64 random(1);
    Session session = make_session(spec, exact, random);
    session.problem.weather.refraction = false;
    session.problem.reference_pole = ReferencePole::true_pole;
    const MountSolution s = solve_mount(session.problem);
    INFO(c.dump());
    INFO(s.altitude_error.arcmin() << " " << s.azimuth_error.arcmin() << " " << (*s.rate_ratio - 1.0) * 1e6);
    REQUIRE(s.outcome == MountOutcome::solved);
    // Refraction shears the field, and how much of the shear passes for a turn depends on how the stars are spread (a
    // square field changes the figure by 0.4′) and on the lens, which is free here and fixed there: a tenth of what
    // refraction does in all, which is the bias from the true pole.
    const double margin = 0.1 * std::hypot(c.at("true_pole")[0].get<double>(), c.at("true_pole")[1].get<double>());
    CHECK(s.altitude_error.arcmin() == Approx(c.at("refr_pole")[0].get<double>()).margin(margin));
    CHECK(s.azimuth_error_on_sky.arcmin() == Approx(c.at("refr_pole")[1].get<double>()).margin(margin));
    // With refraction in the sky the same data give the axis where it is.
    session.problem.weather.refraction = true;
    session.problem.reference_pole = ReferencePole::refracted;
    CHECK(solve_mount(session.problem).total_error.arcmin() < 0.005);
    ++compared;
  }
  CHECK(compared > 20);
}
