#include "nights/night_maker.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include "simulate/exposure.hpp"
#include "simulate/projection.hpp"
#include "simulate/random.hpp"

namespace polewright::test {
namespace {

using simulate::Random;

/// Rigid motion of the star pattern: b = R(roll) a + shift about the frame's centre.
struct Rigid {
  double x = 0.0, y = 0.0, roll = 0.0, sigma = 0.0, roll_sigma = 0.0;
};

Rigid rigid_between(const std::map<std::uint32_t, PixelPoint>& a, const std::map<std::uint32_t, PixelPoint>& b,
                    double star_sigma) {
  double ax = 0, ay = 0, bx = 0, by = 0, n = 0;
  for (const auto& [id, p] : a)
    if (const auto q = b.find(id); q != b.end()) {
      ax += p.x;
      ay += p.y;
      bx += q->second.x;
      by += q->second.y;
      ++n;
    }
  double dot = 0, cross = 0, spread = 0;
  for (const auto& [id, p] : a)
    if (const auto q = b.find(id); q != b.end()) {
      const double ux = p.x - ax / n, uy = p.y - ay / n, vx = q->second.x - bx / n, vy = q->second.y - by / n;
      dot += ux * vx + uy * vy;
      cross += ux * vy - uy * vx;
      spread += ux * ux + uy * uy;
    }
  Rigid r;
  r.roll = std::atan2(cross, dot);
  const double c = std::cos(r.roll), s = std::sin(r.roll);
  r.x = bx / n - (c * ax - s * ay) / n;
  r.y = by / n - (s * ax + c * ay) / n;
  r.sigma = star_sigma * std::sqrt(2.0 / n);
  r.roll_sigma = star_sigma * std::sqrt(2.0 / spread);
  return r;
}

/// The constant motion that gives this displacement in unit time, so that its sums are straight in time.
Rigid logarithm(Rigid r) {
  const double half = 0.5 * r.roll, k = std::abs(half) < 1e-9 ? 1.0 : half / std::tan(half);
  const double x = k * r.x + half * r.y, y = -half * r.x + k * r.y;
  r.x = x;
  r.y = y;
  return r;
}

std::map<std::uint32_t, PixelPoint> places_of(const simulate::Scene& scene, const std::vector<simulate::SkyStar>& sky,
                                              int frame, double sigma_px, std::uint64_t seed, double wx, double wy) {
  std::map<std::uint32_t, PixelPoint> out;
  const PixelPoint centre{0.5 * (scene.lens.width_px - 1), 0.5 * (scene.lens.height_px - 1)};
  for (const auto& t : simulate::star_places(scene, sky, frame, {sigma_px, seed, 0.0}))
    out[t.id] = {t.place.x - centre.x + wx, t.place.y - centre.y + wy};
  return out;
}

/// Trail as a person would measure it: the straight, evenly swept trail with the same second moment, at the centre and
/// where it is largest.
struct TrueTrail {
  double x = 0.0, y = 0.0, worst = 0.0;
};

TrueTrail true_trail(const simulate::Scene& scene, int frame) {
  const simulate::Exposure exposure(scene, frame);
  const int steps = exposure.lively() ? 400 : 60;
  const double w = scene.lens.width_px - 1.0, h = scene.lens.height_px - 1.0;
  TrueTrail out;
  bool first = true;
  for (const PixelPoint p :
       {PixelPoint{0.5 * w, 0.5 * h}, PixelPoint{0, 0}, PixelPoint{w, 0}, PixelPoint{0, h}, PixelPoint{w, h}}) {
    const auto direction = simulate::unproject(scene.lens, p);
    const Vec<Icrs> star = exposure.sky().icrs(exposure.attitude(0.0).inverse() * *direction);
    const simulate::Arc arc = exposure.star(star);
    Eigen::MatrixXd path(steps, 2);
    int k = 0;
    for (const simulate::Step& s : simulate::steps_of(exposure, steps)) {
      const auto at = simulate::project(scene.lens, (s.attitude * arc.at(s.s)).unit());
      path.row(k++) << at->x, at->y;
    }
    const Eigen::MatrixXd off = path.rowwise() - path.colwise().mean();
    const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> e(Eigen::Matrix2d(off.transpose() * off / steps));
    const double length = std::sqrt(12.0 * std::max(0.0, e.eigenvalues()[1]));
    if (first) {
      out.x = length * e.eigenvectors()(0, 1);
      out.y = length * e.eigenvectors()(1, 1);
      first = false;
    }
    out.worst = std::max(out.worst, length);
  }
  return out;
}

/// A trail is measured through the second moment it adds, so the noise is on the square of its length (0.06 px²: 200
/// stars of signal-to-noise 50 give 0.03 px², doubled for what a model does not know of the star's shape).
MeasuredTrail measured(const TrueTrail& truth, Random& random, double worse) {
  constexpr double kSquareNoise = 0.06;
  const double length = std::hypot(truth.x, truth.y), angle = 2.0 * std::atan2(truth.y, truth.x);
  const double a = length * length * std::cos(angle) + worse * kSquareNoise * random.normal();
  const double b = length * length * std::sin(angle) + worse * kSquareNoise * random.normal();
  const double seen = std::sqrt(std::hypot(a, b)), half = 0.5 * std::atan2(b, a);
  MeasuredTrail m;
  m.x_px = seen * std::cos(half);
  m.y_px = seen * std::sin(half);
  const double sigma = kSquareNoise / (2.0 * std::max(seen, std::sqrt(kSquareNoise)));
  m.cov = {sigma * sigma, 0.0, sigma * sigma};
  m.worst_px = std::max(seen, std::sqrt(std::max(0.0, truth.worst * truth.worst + seen * seen - length * length)));
  m.worst_sigma_px = sigma;
  return m;
}

double faintest_for(const simulate::Lens& lens) {
  // 8 stars per square degree to V 10, a factor 2.9 per magnitude: about 150 on the frame, at most V 10.5.
  const double scale_deg = 57.2958 / lens.focal_px();
  const double area = lens.width_px * scale_deg * lens.height_px * scale_deg;
  return std::min(10.5, 10.0 + std::log(150.0 / (8.0 * area)) / std::log(2.9));
}

void look_at_stars(const NightPlan& plan, double t, double seeing, Random& random, NightFrame& f) {
  const double dim = plan.dimming_mag(t), growth = plan.growth_px(t);
  f.temperature_c = plan.temperature_c(t);
  f.fwhm_px = (plan.fwhm_px * seeing + growth) * (1.0 + plan.fwhm_scatter * random.normal());
  // Stars found fall by a factor 2.9 a magnitude; a star twice as wide stands out half as much over the sky.
  const double lost = dim + 2.5 * std::log10(1.0 + growth / plan.fwhm_px);
  f.stars = static_cast<int>(std::lround(random.poisson(400.0 * std::pow(2.9, -lost) * (1.0 - plan.hidden_share(t)))));
  if (f.stars >= 10) f.dimming_mag = dim + 0.02 * random.normal() + 0.1 * t / 14400.0;
  f.sky_adu = 900.0 + 10.0 * random.normal();
  f.aberration_px = std::max(0.0, plan.aberration_px + 0.3 + 0.1 * random.normal());
  f.tilt_px = std::max(0.0, plan.tilt_px + 0.1 + 0.07 * random.normal());
  f.tilt_sigma_px = 0.07;
}

}  // namespace

MadeNight make_night(const NightPlan& plan) {
  const simulate::Scene& scene = plan.scene;
  MadeNight night;
  night.field.width_px = scene.lens.width_px;
  night.field.height_px = scene.lens.height_px;
  night.field.focal_px = scene.lens.focal_px();
  night.field.hemisphere = hemisphere_sign(scene.site);
  night.field.mirrored = scene.lens.mirrored;
  if (plan.identified)
    night.field.pole = simulate::frame_truth(scene, 0).camera_from_enu * simulate::scene_truth(scene).refracted_pole;
  const std::vector<simulate::SkyStar> sky = simulate::random_stars(scene, faintest_for(scene.lens), plan.seed);
  Random random(plan.seed, 99);
  constexpr double kStarSigma = 0.1;
  std::map<std::uint32_t, PixelPoint> key;
  FieldPlace key_place;
  double red_x = 0.0, red_y = 0.0, dither_x = 0.0, dither_y = 0.0, slow_seeing = 0.0;
  for (int i = 0; i < scene.frames; ++i) {
    NightFrame f;
    f.time_s = scene.start_s(i);
    f.exposure_s = scene.exposure_s;
    slow_seeing = 0.95 * slow_seeing + 0.312 * plan.seeing_drift * random.normal();
    look_at_stars(plan, *f.time_s, 1.0 + slow_seeing, random, f);
    const TrueTrail truth = true_trail(scene, i);
    red_x = 0.9 * red_x + 0.436 * plan.red_wander_px * random.normal();
    red_y = 0.9 * red_y + 0.436 * plan.red_wander_px * random.normal();
    if (i % 3 == 0) {
      dither_x = plan.dither_px * random.normal();
      dither_y = plan.dither_px * random.normal();
    }
    const auto places =
        places_of(scene, sky, i, kStarSigma, plan.seed + 1, plan.wander_px * random.normal() + red_x + dither_x,
                  plan.wander_px * random.normal() + red_y + dither_y);
    if (i == 0) {
      key = places;
      f.place = FieldPlace{0.0, 0.0, 0.0, kStarSigma / 12.0, 1e-6};
    } else {
      const Rigid moved = logarithm(rigid_between(key, places, kStarSigma));
      f.place = FieldPlace{key_place.x_px + moved.x, key_place.y_px + moved.y, key_place.roll_rad + moved.roll,
                           moved.sigma, moved.roll_sigma};
      if (std::hypot(moved.x, moved.y) > 0.1 * scene.lens.height_px) {
        key = places;
        key_place = *f.place;
      }
    }
    if (f.stars >= 10) {
      const bool outlier = plan.outlier_share > 0.0 && random.uniform() < plan.outlier_share;
      f.trail = measured(truth, random, outlier ? 4.0 : 1.0);
      if (outlier) f.place->x_px += 4.0 * plan.wander_px * random.normal();
    } else {
      f.place.reset();
    }
    if (plan.whole_seconds) f.time_s = std::round(*f.time_s);
    if (plan.clock_jump_at && i >= *plan.clock_jump_at) *f.time_s += 1.0;
    if (std::find(plan.missing.begin(), plan.missing.end(), i) == plan.missing.end()) {
      night.true_trail_px.push_back(truth.worst);
      night.frames.push_back(f);
    }
  }
  return night;
}

}  // namespace polewright::test
