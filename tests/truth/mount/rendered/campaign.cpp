// Rendered pairs through star finding, identification and the mount fit, against the bound of their photons.
// Usage: rendered_mount_campaign [SESSIONS] [SEED]; prints one line per session and the summary for RESULTS.md.
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <numbers>
#include <random>
#include <unordered_map>

#include "polewright/catalogue.hpp"
#include "polewright/identify.hpp"
#include "polewright/mount.hpp"
#include "polewright/stars.hpp"
#include "simulate/simulate.hpp"
#include "truth/mount/sessions/bound.hpp"

using namespace polewright;

namespace {

constexpr double kSky_e = 150.0;

double between(std::mt19937_64& random, double low, double high) {
  return std::uniform_real_distribution<double>(low, high)(random);
}

simulate::Scene any_scene(std::mt19937_64& random) {
  simulate::Scene scene;
  const bool north = between(random, 0, 1) < 0.5;
  scene.site = {Angle::deg((north ? 1 : -1) * between(random, 20.0, 60.0)), Angle::deg(between(random, -180, 180)),
                500.0};
  scene.first_start = UtcTime::from_calendar(
      {2026, static_cast<int>(between(random, 1, 12.99)), 12, static_cast<int>(between(random, 0, 23.99)), 0, 0.0});
  scene.lens.focal_mm = 24.0 * std::pow(200.0 / 24.0, between(random, 0, 1));
  scene.lens.width_px = 3000;
  scene.lens.height_px = 2000;
  scene.exposure_s = 20.0;
  scene.interval_s = between(random, 120.0, 600.0);
  scene.mount.altitude_error = Angle::arcmin(between(random, -30, 30));
  scene.mount.azimuth_error = Angle::arcmin(between(random, -30, 30));
  scene.mount.periodic = {{Angle::arcsec(10.0), 480.0, Angle::deg(between(random, 0, 360))}};
  scene.pointing = simulate::Horizontal{Angle::deg(between(random, 0, 360)), Angle::deg(between(random, 35, 75)),
                                        Angle::deg(between(random, -180, 180))};
  return scene;
}

/// Bound of one coordinate of a star's place: Fisher information of a pixelated Gaussian over sky and read noise.
double place_bound_px(double electrons, double psf_sigma_px, double noise_variance) {
  const double s = psf_sigma_px * std::numbers::sqrt2;
  const auto share = [&](double lo, double hi) { return 0.5 * (std::erf(hi / s) - std::erf(lo / s)); };
  const auto slope = [&](double lo, double hi) {
    const double n = 1.0 / (psf_sigma_px * std::sqrt(2.0 * std::numbers::pi));
    return n * (std::exp(-lo * lo / (s * s)) - std::exp(-hi * hi / (s * s)));
  };
  double information = 0.0;
  for (int y = -8; y <= 8; ++y)
    for (int x = -8; x <= 8; ++x) {
      const double v = share(y - 0.5, y + 0.5), d = electrons * slope(x - 0.5, x + 0.5) * v;
      information += d * d / (electrons * share(x - 0.5, x + 0.5) * v + noise_variance);
    }
  return 1.0 / std::sqrt(information);
}

struct Seen {
  MountFrame mount;
  test::BoundFrame bound;
};

std::optional<Seen> see(const simulate::Scene& scene, const simulate::RenderedFrame& r, const Catalogue& catalogue,
                        const simulate::RenderOptions& render) {
  StarOptions star_options;
  star_options.focal_px = scene.lens.focal_px();
  const auto stars = find_stars(r.frame, star_options);
  if (!stars) return {};
  IdentifyHints hints;
  hints.focal_px = scene.lens.focal_px();
  hints.time = r.truth.mid;
  hints.site = scene.site;
  const IdentifyResult found = identify(stars.value(), catalogue, hints);
  if (!found.identification) return {};
  Seen seen;
  seen.mount.mid_time = r.truth.mid;
  seen.mount.exposure_s = scene.exposure_s;
  seen.mount.width_px = r.frame.width;
  seen.mount.height_px = r.frame.height;
  seen.mount.camera_from_icrs = found.identification->camera_from_icrs;
  seen.mount.lens = found.identification->lens;
  seen.bound.camera_from_enu = r.truth.camera_from_enu;
  std::unordered_map<std::uint32_t, const simulate::StarTruth*> truth;
  for (const auto& t : r.stars) truth[t.id] = &t;
  const double psf = render.detector.psf.sigma_px;
  for (const StarMatch& m : found.identification->matches) {
    const Star& s = stars.value().stars[m.star];
    seen.mount.stars.push_back({s.position, s.position_cov, m.direction, m.catalogue});
    const auto t = truth.find(m.catalogue);
    if (t == truth.end()) continue;
    // A star at full well shows its wings only; its bound is not that of its photons.
    if (t->second->electrons / (2.0 * std::numbers::pi * psf * psf) > render.detector.full_well_e) continue;
    seen.bound.stars.push_back(t->second->place);
    const double noise = kSky_e + std::pow(render.detector.read_noise_e, 2);
    seen.bound.sigma_px.push_back(place_bound_px(t->second->electrons, psf, noise));
  }
  return seen;
}

}  // namespace

int main(int argc, char** argv) {
  const int sessions = argc > 1 ? std::atoi(argv[1]) : 40;
  std::mt19937_64 random(argc > 2 ? static_cast<std::uint64_t>(std::atoll(argv[2])) : 1);
  const Catalogue catalogue = Catalogue::open().value();
  int solved = 0, inside = 0, unidentified = 0;
  double ratio2 = 0.0, chi2 = 0.0, stated = 0.0;
  for (int i = 0; i < sessions; ++i) {
    const simulate::Scene scene = any_scene(random);
    simulate::RenderOptions render;
    render.detector.psf.sigma_px = between(random, 0.9, 1.6);
    render.detector.sky_e_per_px = kSky_e;
    render.seed = static_cast<std::uint64_t>(i + 1);
    render.threads = 2;
    const auto stars = simulate::stars_from_catalogue(catalogue, scene, 12.0);
    MountProblem problem;
    problem.site = scene.site;
    problem.weather = scene.weather;
    problem.clock_sigma_s = 0.0;
    problem.site_sigma = Angle();
    std::vector<test::BoundFrame> bound_frames;
    for (int f = 0; f < 2; ++f) {
      auto seen = see(scene, simulate::render_frame(scene, stars, f, render), catalogue, render);
      if (!seen) break;
      problem.frames.push_back(std::move(seen->mount));
      bound_frames.push_back(std::move(seen->bound));
    }
    if (problem.frames.size() < 2) {
      ++unidentified;
      std::printf("%2d  f %5.1f mm: not identified\n", i, scene.lens.focal_mm);
      continue;
    }
    const MountSolution s = solve_mount(problem);
    if (s.outcome != MountOutcome::solved) {
      std::printf("%2d  f %5.1f mm: %s\n", i, scene.lens.focal_mm, s.message.c_str());
      continue;
    }
    const auto truth = simulate::scene_truth(scene);
    const test::BoundLens lens{scene.lens.focal_px(), scene.lens.principal_point().x, scene.lens.principal_point().y};
    const test::AxisBound bound = test::axis_bound(bound_frames, truth.axis, scene.site, lens, 1.0);
    const test::SkyError e = test::error_against(s, truth.axis, scene.site);
    const double alt = e.altitude.arcmin(), az = e.azimuth_on_sky.arcmin();
    const Covariance2 c = s.on_sky_cov_arcmin2;
    const double d2 = (alt * alt * c.yy - 2 * alt * az * c.xy + az * az * c.xx) / (c.xx * c.yy - c.xy * c.xy);
    const double total = std::hypot(alt, az);
    ++solved;
    ratio2 += std::pow(total / bound.total_sigma.arcmin(), 2);
    stated += s.total_sigma / bound.total_sigma;
    chi2 += 0.5 * d2;
    inside += d2 < 5.991464547;
    std::printf(
        "%2d  f %5.1f mm, %3.0f s, %4zu stars: error %.3f', stated %.3f', bound %.3f', scale %.2f, shared %.3f px\n", i,
        scene.lens.focal_mm, scene.interval_s, problem.frames[0].stars.size(), total, s.total_sigma.arcmin(),
        bound.total_sigma.arcmin(), s.star_noise_scale, s.common_model_error_px);
    std::fflush(stdout);
  }
  std::printf(
      "solved %d of %d (%d not identified): rms error / bound %.2f, stated / bound %.2f, inside 95 %% %.2f, "
      "normalised variance %.2f\n",
      solved, sessions, unidentified, std::sqrt(ratio2 / solved), stated / solved, inside / double(solved),
      chi2 / solved);
  return 0;
}
