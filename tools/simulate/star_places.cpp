#include <cassert>
#include <cmath>

#include "simulate/exposure.hpp"
#include "simulate/random.hpp"
#include "simulate/simulate.hpp"

namespace polewright::simulate {
namespace {

/// Mean place and trail. A calm exposure is a parabola, which Simpson's rule integrates exactly; a shaken one is
/// sampled.
bool follow(const Scene& scene, const Arc& arc, const std::vector<Step>& ends, const std::vector<Step>& fine,
            StarTruth& truth) {
  const auto begin = project(scene.lens, ends[0].attitude * arc.begin);
  const auto middle = project(scene.lens, ends[1].attitude * arc.middle);
  const auto end = project(scene.lens, ends[2].attitude * arc.end);
  if (!begin || !middle || !end) return false;
  truth.trail = {end->x - begin->x, end->y - begin->y};
  truth.place = {(begin->x + 4.0 * middle->x + end->x) / 6.0, (begin->y + 4.0 * middle->y + end->y) / 6.0};
  if (fine.empty()) return true;
  PixelPoint sum;
  for (const Step& step : fine) {
    const auto p = project(scene.lens, step.attitude * arc.at(step.s));
    if (!p) return false;
    sum = {sum.x + p->x, sum.y + p->y};
  }
  const double n = static_cast<double>(fine.size());
  truth.place = {sum.x / n, sum.y / n};
  return true;
}

/// The frame with a margin around it.
struct Window {
  double low, right, bottom;
  Window(const Lens& lens, double margin)
      : low(-0.5 - margin), right(lens.width_px - 0.5 + margin), bottom(lens.height_px - 0.5 + margin) {}
  [[nodiscard]] bool holds(PixelPoint p) const { return p.x >= low && p.x <= right && p.y >= low && p.y <= bottom; }
};

}  // namespace

std::vector<StarTruth> star_places(const Scene& scene, std::span<const SkyStar> stars, int frame,
                                   const PlaceNoise& noise) {
  assert(scene.validate().empty());
  const Exposure exposure(scene, frame);
  const std::vector<Step> ends{{-1, exposure.attitude(-1)}, {0, exposure.attitude(0)}, {1, exposure.attitude(1)}};
  // 400 samples follow a swing of a few hertz through a minute's exposure.
  const std::vector<Step> fine = exposure.lively() ? steps_of(exposure, 400) : std::vector<Step>{};
  const Vec<Icrs> centre = exposure.centre();
  const double cone = cos(exposure.search_radius());
  // Most of the cone lies beside the frame: one place tells, and half a trail with room for a gust decides who is near.
  const double half_trail_px =
      scene.lens.focal_px() * kSidereal_rad_per_s * scene.exposure_s * (1.0 + std::abs(scene.mount.rate_ratio));
  const Window inside(scene.lens, noise.margin_px), near(scene.lens, noise.margin_px + 100.0 + half_trail_px);
  Random random(noise.seed, static_cast<std::uint64_t>(frame));

  std::vector<StarTruth> out;
  for (const SkyStar& star : stars) {
    if (star.direction.dot(centre) < cone) continue;
    const auto place = exposure.sky().intermediate(star.direction);
    StarTruth truth{star.id, star.direction, star.v_magnitude, exposure.sky().observed(place, 0.0), {}, {}, 0.0};
    const auto rough = project(scene.lens, ends[1].attitude * truth.observed);
    if (truth.observed.z < 0.0 || !rough || !near.holds(*rough)) continue;
    if (!follow(scene, exposure.arc(place, truth.observed), ends, fine, truth) || !inside.holds(truth.place)) continue;
    if (noise.sigma_px > 0.0) {
      truth.place.x += noise.sigma_px * random.normal();
      truth.place.y += noise.sigma_px * random.normal();
    }
    out.push_back(truth);
  }
  return out;
}

SceneTruth scene_truth(const Scene& scene) {
  SceneTruth truth;
  truth.axis = axis_of(scene);
  truth.refracted_pole = visible_pole(scene.site, scene.weather, true);
  truth.true_pole = visible_pole(scene.site, scene.weather, false);
  truth.altitude_error = scene.mount.altitude_error;
  truth.azimuth_error = scene.mount.azimuth_error;
  truth.total_error =
      angle_between(truth.axis, scene.mount.about == AboutPole::refracted ? truth.refracted_pole : truth.true_pole);
  return truth;
}

FrameTruth frame_truth(const Scene& scene, int frame) {
  const Exposure exposure(scene, frame);
  return {scene.first_start.plus_seconds(scene.start_s(frame)), exposure.mid_time(), exposure.attitude(0.0),
          exposure.centre()};
}

}  // namespace polewright::simulate
