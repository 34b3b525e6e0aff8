#include <cassert>
#include <cmath>

#include "simulate/exposure.hpp"
#include "simulate/random.hpp"
#include "simulate/simulate.hpp"

namespace polewright::simulate {
namespace {

/// Mean place over the exposure. A calm exposure is a parabola, which Simpson's rule integrates exactly; a shaken one
/// is sampled.
std::optional<StarTruth> place_of(const Scene& scene, const Arc& arc, const std::vector<Step>& ends,
                                  const std::vector<Step>& fine) {
  StarTruth truth;
  truth.observed = arc.middle;
  const auto begin = project(scene.lens, ends[0].attitude * arc.begin);
  const auto middle = project(scene.lens, ends[1].attitude * arc.middle);
  const auto end = project(scene.lens, ends[2].attitude * arc.end);
  if (!begin || !middle || !end) return std::nullopt;
  truth.trail = {end->x - begin->x, end->y - begin->y};
  truth.place = {(begin->x + 4.0 * middle->x + end->x) / 6.0, (begin->y + 4.0 * middle->y + end->y) / 6.0};
  if (!fine.empty()) {
    truth.place = {};
    for (const Step& step : fine) {
      const auto p = project(scene.lens, step.attitude * arc.at(step.s));
      if (!p) return std::nullopt;
      truth.place.x += p->x / static_cast<double>(fine.size());
      truth.place.y += p->y / static_cast<double>(fine.size());
    }
  }
  return truth;
}

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
  const double left = -0.5 - noise.margin_px, right = scene.lens.width_px - 0.5 + noise.margin_px;
  const double bottom = scene.lens.height_px - 0.5 + noise.margin_px;
  Random random(noise.seed, static_cast<std::uint64_t>(frame));

  std::vector<StarTruth> out;
  for (const SkyStar& star : stars) {
    if (star.direction.dot(centre) < cone) continue;
    const Arc arc = exposure.star(star.direction);
    if (arc.middle.z < 0.0) continue;
    auto truth = place_of(scene, arc, ends, fine);
    if (!truth) continue;
    if (truth->place.x < left || truth->place.x > right || truth->place.y < left || truth->place.y > bottom) continue;
    truth->id = star.id;
    truth->direction = star.direction;
    truth->v_magnitude = star.v_magnitude;
    if (noise.sigma_px > 0.0) {
      truth->place.x += noise.sigma_px * random.normal();
      truth->place.y += noise.sigma_px * random.normal();
    }
    out.push_back(*truth);
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
  truth.total_error = angle_between(
      truth.axis, scene.mount.about == AboutPole::refracted ? truth.refracted_pole : truth.true_pole);
  return truth;
}

FrameTruth frame_truth(const Scene& scene, int frame) {
  const Exposure exposure(scene, frame);
  return {scene.first_start.plus_seconds(scene.start_s(frame)), exposure.mid_time(), exposure.attitude(0.0),
          exposure.centre()};
}

}  // namespace polewright::simulate
