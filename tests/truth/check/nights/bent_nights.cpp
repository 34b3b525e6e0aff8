#include "nights/bent_nights.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include "session/night_bend.hpp"

namespace polewright::test {
namespace {

double between(std::mt19937_64& random, double low, double high) {
  return std::uniform_real_distribution<double>(low, high)(random);
}
double octaves(std::mt19937_64& random, double low, double high) {
  return low * std::pow(high / low, between(random, 0.0, 1.0));
}

SessionSpec any_night(std::mt19937_64& random) {
  SessionSpec spec;
  const double sense = between(random, 0, 1) < 0.3 ? -1.0 : 1.0;
  spec.site = {Angle::deg(sense * between(random, 25.0, 60.0)), Angle::deg(10.0), 200.0};
  spec.start.hour = static_cast<int>(between(random, 0.0, 23.99));
  spec.focal_mm = octaves(random, 50.0, 400.0);
  spec.axes = {{Angle::arcmin(between(random, -40.0, 40.0)), Angle::arcmin(between(random, -40.0, 40.0))}};
  spec.periodic_error = Angle::arcsec(between(random, 0.0, 8.0));
  spec.periodic_phase = between(random, 0.0, 6.28);
  const int frames = static_cast<int>(octaves(random, 8.0, 40.99));
  const double span_s = octaves(random, 1800.0, 14400.0);
  for (int i = 0; i < frames; ++i) spec.frames.push_back({span_s * i / (frames - 1)});
  const auto up = [&](double seconds) {
    const Pointing& p = spec.pointings[0];
    return altitude_of(enu_of(spec.site, p.hour_angle + Angle::rad(kSiderealRate_rad_per_s * seconds), p.declination));
  };
  do {
    spec.pointings = {{Angle::hours(between(random, -5.0, 3.0)), Angle::deg(sense * between(random, -20.0, 75.0)),
                       Angle::deg(between(random, -180.0, 180.0))}};
  } while (up(0.0).deg() < 25.0 || up(span_s).deg() < 25.0);
  return spec;
}

/// Course of one axis of the camera over the night, 0 to 1 in time and about 1 in size.
std::vector<double> course(Bend bend, std::size_t frames, std::mt19937_64& random) {
  std::normal_distribution<double> normal;
  std::vector<double> out(frames, 0.0);
  const double decay = between(random, 0.2, 1.0), power = between(random, 0.0, 1.0) < 0.5 ? 2.0 : 3.0;
  const double swings = between(random, 0.5, 3.0), phase = between(random, 0.0, 2.0 * std::numbers::pi);
  for (std::size_t i = 0; i < frames; ++i) {
    const double t = static_cast<double>(i) / static_cast<double>(frames - 1);
    if (bend == Bend::jolts) out[i] = 0.3 * normal(random);
    if (bend == Bend::walk) out[i] = i == 0 ? 0.0 : out[i - 1] + normal(random) / std::sqrt(frames - 1.0);
    if (bend == Bend::settling) out[i] = -std::exp(-t / decay);
    if (bend == Bend::speeding) out[i] = std::pow(t, power);
    if (bend == Bend::swaying) out[i] = 0.5 * std::sin(2.0 * std::numbers::pi * swings * t + phase);
  }
  return out;
}

double median(std::vector<double> v) {
  if (v.empty()) return 0.0;
  std::nth_element(v.begin(), v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2), v.end());
  return v[v.size() / 2];
}

bool inside(const MountSolution& s, const SkyError& e) {
  const double alt = e.altitude.arcmin(), az = e.azimuth_on_sky.arcmin();
  const Covariance2 c = s.on_sky_cov_arcmin2;
  const double d2 = (alt * alt * c.yy - 2 * alt * az * c.xy + az * az * c.xx) / (c.xx * c.yy - c.xy * c.xy);
  return d2 < 5.991464547;  // χ² of two degrees of freedom at 95 %: −2 ln 0.05
}

}  // namespace

const char* to_text(Bend bend) {
  constexpr std::array<const char*, 6> names{"none", "jolts", "walk", "settling", "speeding", "swaying"};
  return names[static_cast<std::size_t>(bend)];
}

Session bent_night(Bend bend, std::mt19937_64& random) {
  SessionSpec spec = any_night(random);
  const Angle size = Angle::arcsec(octaves(random, 3.0, 60.0));
  const double angle = between(random, 0.0, 2.0 * std::numbers::pi);
  const std::vector<double> a = course(bend, spec.frames.size(), random);
  // A movement has one direction; jolts and steps take any.
  const bool any = bend == Bend::jolts || bend == Bend::walk;
  const std::vector<double> b = any ? course(bend, spec.frames.size(), random) : a;
  for (std::size_t i = 0; i < spec.frames.size(); ++i) {
    spec.frames[i].bump_right = size * (any ? a[i] : a[i] * std::cos(angle));
    spec.frames[i].bump_up = size * (any ? b[i] : b[i] * std::sin(angle));
  }
  SessionNoise noise;
  noise.stars = 40;
  noise.star_sigma_px = noise.stated_sigma_px = 0.08;
  Session session = make_session(spec, noise, random);
  session.problem.clock_sigma_s = 0.5;
  session.problem.site_sigma = Angle::arcsec(10.0);
  return session;
}

CoverScore cover_of(Bend bend, int nights, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  CoverScore score;
  score.nights = nights;
  std::vector<double> before, after;
  double sum2 = 0.0;
  for (int i = 0; i < nights; ++i) {
    const Session session = bent_night(bend, random);
    MountOptions options;
    options.threads = 1;
    const MountSolution plain = solve_mount(session.problem, options);
    const auto [s, bent] = session::solve_night(session.problem, options);
    if (plain.outcome != MountOutcome::solved || s.outcome != MountOutcome::solved) {
      ++score.refused;
      continue;
    }
    const SkyError e = error_against(s, session.axis, session.problem.site);
    score.inside_before += inside(plain, error_against(plain, session.axis, session.problem.site)) ? 1 : 0;
    before.push_back(plain.total_sigma.arcmin());
    score.widened += bent ? 1 : 0;
    score.inside_after += inside(s, e) ? 1 : 0;
    after.push_back(s.total_sigma.arcmin());
    sum2 += std::pow(e.altitude.arcmin(), 2) + std::pow(e.azimuth_on_sky.arcmin(), 2);
  }
  const double solved = std::max(1, nights - score.refused);
  score.rms_arcmin = std::sqrt(sum2 / solved);
  score.median_sigma_before = median(before);
  score.median_sigma_after = median(after);
  return score;
}

}  // namespace polewright::test
