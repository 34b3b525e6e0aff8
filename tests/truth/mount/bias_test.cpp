// What is wrong with the world must not move the axis. The bias is the error on data without noise; the sigma it is
// measured by is that of the same session with 200 stars at 0.05 px.
#include <catch2/catch.hpp>

#include "truth/mount/sessions/session.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

SessionSpec pair_at(double latitude_deg, int frames = 2) {
  SessionSpec spec;
  const double sense = latitude_deg > 0 ? 1.0 : -1.0;
  spec.site.latitude = Angle::deg(latitude_deg);
  spec.axes = {{Angle::arcmin(30.0), Angle::arcmin(-50.0)}};
  spec.pointings = {{Angle::hours(2.5), Angle::deg(20.0 * sense), Angle::deg(15.0)}};
  for (int i = 0; i < frames; ++i) spec.frames.push_back({i * 180.0 / (frames - 1) * (frames > 2 ? 3.0 : 1.0)});
  return spec;
}

struct Bias {
  Angle total, size;  ///< of the axis, and of its distance from the pole alone
  Angle sigma;
  double in_sigmas() const { return total / sigma; }
};

Bias bias_of(const SessionSpec& spec, SessionNoise wrong, double clock_sigma_s = 0.0, Angle site_sigma = Angle()) {
  const auto solve = [&](double star_sigma_px) {
    SessionNoise n = wrong;
    n.star_sigma_px = star_sigma_px;
    std::mt19937_64 random(7);
    Session session = make_session(spec, n, random);
    session.problem.clock_sigma_s = clock_sigma_s;
    session.problem.site_sigma = site_sigma;
    return std::pair(session, solve_mount(session.problem));
  };
  const auto [session, exact] = solve(0.0);
  const auto [noisy_session, noisy] = solve(wrong.stated_sigma_px);
  REQUIRE(exact.outcome == MountOutcome::solved);
  REQUIRE(noisy.outcome == MountOutcome::solved);
  Bias b;
  b.total = angle_between(exact.axis, session.axis);
  b.size = exact.total_error - angle_between(session.axis, session.pole);
  b.sigma = noisy.total_sigma;
  UNSCOPED_INFO("bias " << b.total.arcmin() << "' size " << b.size.arcmin() << "' sigma " << b.sigma.arcmin() << "'");
  return b;
}

}  // namespace

TEST_CASE("refraction, aberration and the like do not bias the axis") {
  for (const double latitude : {47.0, -33.0, 20.0})
    for (const double dec : {-10.0, 20.0, 60.0}) {
      SessionSpec spec = pair_at(latitude);
      spec.pointings[0].declination = Angle::deg(latitude > 0 ? dec : -dec);
      CHECK(bias_of(spec, {}).in_sigmas() < 0.1);
    }
}

TEST_CASE("periodic error stays in the rate") {
  for (const int frames : {2, 3, 8})
    for (const double phase : {0.0, 1.0, 2.5, 4.0}) {
      SessionSpec spec = pair_at(47.0, frames);
      spec.periodic_error = Angle::arcsec(25.0);
      spec.period_s = 480.0;
      spec.periodic_phase = phase;
      CHECK(bias_of(spec, {}).in_sigmas() < 0.1);
    }
}

TEST_CASE("distortion that the start lens does not know") {
  for (const double focal_mm : {24.0, 50.0})
    for (const double k1 : {-0.02, 0.01}) {
      SessionSpec spec = pair_at(47.0);
      spec.focal_mm = focal_mm;
      spec.k1 = -0.03;
      SessionNoise wrong;
      wrong.believed_k1_offset = k1;
      CHECK(bias_of(spec, wrong).in_sigmas() < 0.1);
    }
}

TEST_CASE("pressure wrong by 50 hPa") {
  for (const double error_hpa : {-50.0, 50.0}) {
    SessionNoise wrong;
    wrong.believed_pressure_hpa = 980.0 + error_hpa;
    CHECK(bias_of(pair_at(47.0), wrong).in_sigmas() < 0.1);
  }
}

TEST_CASE("a wrong clock or longitude turns the error about the pole and leaves its size") {
  // Physics: 15.04″ per second of clock, 1° per degree of longitude. The size must not move; the direction must be
  // covered by the sigma once the problem says how far the clock or the site may be off.
  SessionNoise clock;
  clock.clock_offset_s = 60.0;
  const double distance_arcmin = std::hypot(30.0, 50.0 * cos(Angle::deg(47.5)));
  const Bias c = bias_of(pair_at(47.0), clock, 60.0);
  CHECK(std::abs(c.size / c.sigma) < 0.1);
  // Small against the distance's own rounding of 2 %: the arc is distance × angle.
  CHECK(c.total.arcmin() == Approx(distance_arcmin * 60.0 * kSiderealRate_rad_per_s).epsilon(0.05));
  CHECK(c.in_sigmas() < 1.0);

  SessionNoise longitude;
  longitude.longitude_offset = Angle::deg(1.0);
  const Bias l = bias_of(pair_at(47.0), longitude, 0.0, Angle::deg(1.0));
  CHECK(std::abs(l.size / l.sigma) < 0.1);
  CHECK(l.total.arcmin() == Approx(distance_arcmin * Angle::deg(1.0).rad()).epsilon(0.05));
  CHECK(l.in_sigmas() < 1.0);
}

TEST_CASE("long trails are averaged as the exposure does") {
  // Half rate, two-minute exposures: stars trail by 56 px at 50 mm, a curve near the pole.
  SessionSpec spec = pair_at(47.0);
  spec.rate_ratio = 0.5;
  spec.exposure_s = 120.0;
  spec.pointings[0].declination = Angle::deg(80.0);
  spec.frames = {{0.0}, {300.0}};
  CHECK(bias_of(spec, {}).in_sigmas() < 0.1);
}

TEST_CASE("a picture mirrored is solved like any other") {
  SessionSpec spec = pair_at(-33.0);
  spec.mirrored = true;
  CHECK(bias_of(spec, {}).in_sigmas() < 0.1);
}

TEST_CASE("time stamps of whole seconds: tracked frames hardly feel them") {
  std::mt19937_64 random(3);
  double chi2 = 0.0;
  constexpr int sessions = 60;
  for (int i = 0; i < sessions; ++i) {
    SessionNoise noise;
    noise.stamp_sigma_s = 0.29;
    SessionSpec spec = pair_at(47.0);
    spec.rate_ratio = i % 2 == 0 ? 1.0 : 0.5;
    const Session session = make_session(spec, noise, random);
    const MountSolution s = solve_mount(session.problem);
    REQUIRE(s.outcome == MountOutcome::solved);
    chi2 += std::pow(angle_between(s.axis, session.axis) / s.total_sigma, 2) / sessions;
  }
  // Mean of a sum of two scaled χ²: 1, scatter at most √2/√60 = 0.18.
  CHECK(chi2 == Approx(1.0).margin(0.6));
}
