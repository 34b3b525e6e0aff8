// Trails inside the frames as further measurements of the same motion.
#include <catch2/catch.hpp>

#include "truth/mount/sessions/session.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

/// Adds what a trail measurement would say: rotation of the camera relative to the stars, from the true attitudes.
void add_trails(Session& session, const SessionSpec& spec, double sigma_rad, std::mt19937_64& random) {
  std::normal_distribution<double> normal(0.0, sigma_rad);
  const double sense = spec.site.latitude.rad() > 0 ? -1.0 : 1.0;
  const double sky = sense * kSiderealRate_rad_per_s * spec.exposure_s;
  for (std::size_t i = 0; i < session.problem.frames.size(); ++i) {
    const Vec<Enu> relative = (session.axis * spec.rate_ratio - session.pole) * sky;
    Vec<Camera> v = session.camera_from_enu[i] * relative;
    v = v + Vec<Camera>{normal(random), normal(random), normal(random)};
    if (i % 2 == 1) v = -v;  // a trail has no front end
    FrameTrail trail{v, {}};
    for (const std::size_t k : {0u, 4u, 8u}) trail.rotation_cov[k] = sigma_rad * sigma_rad;
    session.problem.frames[i].trail = trail;
  }
}

}  // namespace

TEST_CASE("trails sharpen the axis of a short series and stay honest") {
  SessionSpec spec;
  spec.axes = {{Angle::arcmin(40.0), Angle::arcmin(-60.0)}};
  spec.pointings = {{Angle::hours(1.0), Angle::deg(45.0), Angle()}};
  spec.exposure_s = 60.0;
  spec.frames = {{0.0}, {65.0}};
  double chi2 = 0.0, gain = 0.0;
  constexpr int sessions = 30;
  for (int k = 0; k < sessions; ++k) {
    std::mt19937_64 random(100 + static_cast<std::uint64_t>(k));
    Session session = make_session(spec, {}, random);
    const MountSolution without = solve_mount(session.problem);
    add_trails(session, spec, Angle::arcsec(0.5).rad(), random);
    const MountSolution with = solve_mount(session.problem);
    REQUIRE(with.outcome == MountOutcome::solved);
    chi2 += std::pow(angle_between(with.axis, session.axis) / with.total_sigma, 2) / sessions;
    gain += without.total_sigma / with.total_sigma / sessions;
  }
  // Half an arcsecond over 902″ of turn is 1.9′ across each of two directions and two frames; the pair alone
  // gives 1.2′.
  CHECK(gain > 1.05);
  // Mean of 30 values with mean 1 and scatter of at most √2.
  CHECK(chi2 == Approx(1.0).margin(0.8));
}
