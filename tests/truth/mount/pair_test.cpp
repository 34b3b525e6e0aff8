#include <catch2/catch.hpp>
#include <iostream>

#include "truth/mount/sessions/bound.hpp"
#include "truth/mount/sessions/session.hpp"

using namespace polewright;
using namespace polewright::test;

TEST_CASE("tracked pairs three minutes apart give axis and rate") {
  std::mt19937_64 random(1);
  for (const double latitude : {47.0, -33.0})
    for (const double focal : {24.0, 50.0, 135.0})
      for (const double size : {0.0, 5.0, 60.0}) {
        SessionSpec spec;
        spec.site.latitude = Angle::deg(latitude);
        spec.focal_mm = focal;
        spec.axes = {{Angle::arcmin(size * 0.8), Angle::arcmin(-size * 0.6) / cos(spec.site.latitude)}};
        spec.pointings = {{Angle::hours(1.0), Angle::deg(latitude > 0 ? 30.0 : -30.0), Angle::deg(10.0)}};
        spec.frames = {{0.0}, {180.0}};
        const Session session = make_session(spec, {}, random);
        const MountSolution s = solve_mount(session.problem);
        const AxisBound bound = axis_bound(session, spec, 0.05);
        INFO(latitude << " " << focal << " " << size << " " << s.message);
        REQUIRE(s.outcome == MountOutcome::solved);
        const SkyError e = error_against(s, session.axis, spec.site);
        std::cout << latitude << " " << focal << " " << size << ": " << e.altitude.arcmin() << " " << e.azimuth_on_sky.arcmin() << " sigma "
                  << s.total_sigma.arcmin() << " bound " << bound.total_sigma.arcmin() << " rate " << *s.rate_ratio << " +- " << s.rate_sigma << " k " << s.star_noise_scale << " c " << s.common_model_error_px<< "\n";
      }
}
