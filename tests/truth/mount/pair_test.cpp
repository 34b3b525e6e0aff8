// Pairs as most people shoot them: three minutes apart, errors from nothing to a degree.
#include <catch2/catch.hpp>

#include "truth/mount/sessions/bound.hpp"

using namespace polewright;
using namespace polewright::test;

TEST_CASE("tracked pairs three minutes apart give axis and rate, both hemispheres, 24 to 135 mm") {
  std::mt19937_64 random(1);
  for (const double latitude : {47.0, -33.0})
    for (const double focal : {24.0, 50.0, 135.0})
      for (const double size_arcmin : {0.0, 5.0, 20.0, 60.0}) {
        SessionSpec spec;
        spec.site.latitude = Angle::deg(latitude);
        spec.focal_mm = focal;
        const AxisError error{Angle::arcmin(size_arcmin * 0.8),
                              Angle::arcmin(-size_arcmin * 0.6) / cos(spec.site.latitude)};
        spec.axes = {error};
        spec.pointings = {{Angle::hours(1.0), Angle::deg(latitude > 0 ? 45.0 : -45.0), Angle::deg(10.0)}};
        spec.frames = {{0.0}, {180.0}};
        SessionNoise noise;
        // What a good frame holds; 200 stars at 0.05 px could not do it at this declination (bound 0.45′).
        noise.stars = 1500;
        const Session session = make_session(spec, noise, random);
        const MountSolution s = solve_mount(session.problem);
        const AxisBound bound = axis_bound(session, spec, 0.05);
        INFO(latitude << "° " << focal << " mm " << size_arcmin << "′: " << s.message);
        REQUIRE(s.outcome == MountOutcome::solved);
        CHECK(angle_between(s.axis, session.axis).arcmin() < (focal < 40.0 ? 1.2 : 0.5));
        CHECK(s.total_sigma.arcmin() == Approx(bound.total_sigma.arcmin()).epsilon(0.1));
        CHECK(*s.rate_ratio == Approx(1.0).margin(3e-4));
        if (size_arcmin >= 5.0) {
          CHECK(s.altitude_error.rad() > 0.0);
          CHECK(s.azimuth_error.rad() < 0.0);
        } else {
          // 4.3σ in two dimensions: one false alarm in ten thousand.
          CHECK(s.total_error.arcmin() < 4.3 * s.total_sigma.arcmin());
        }
      }
}
