#include "simulate/exposure.hpp"

#include <algorithm>
#include <cmath>

namespace polewright::simulate {

Exposure::Exposure(const Scene& scene, int frame)
    : scene_(&scene),
      half_s_(0.5 * scene.exposure_s),
      mid_s_(scene.start_s(frame) + half_s_),
      motion_(scene, frame),
      sky_(scene.first_start.plus_seconds(mid_s_), scene.site, scene.weather) {}

Arc Exposure::star(Vec<Icrs> direction) const {
  const auto place = sky_.intermediate(direction);
  return arc(place, sky_.observed(place, 0.0));
}

Arc Exposure::arc(SkyPlaces::Intermediate star, Vec<Enu> middle) const {
  if (half_s_ == 0.0) return ground(middle);
  return {sky_.observed(star, -half_s_), middle, sky_.observed(star, half_s_)};
}

Vec<Icrs> Exposure::centre() const {
  return sky_.icrs(attitude(0.0).inverse() * Vec<Camera>{0, 0, 1});
}

Angle Exposure::search_radius() const {
  // Refraction lifts by up to half a degree; the sky turns by the sidereal rate and a mount may double that.
  const double turn = kSidereal_rad_per_s * half_s_ * (1.0 + std::abs(scene_->mount.rate_ratio));
  return std::min(frame_radius(scene_->lens) + Angle::deg(1.0) + Angle::rad(turn), Angle::deg(180.0));
}

std::vector<Step> steps_of(const Exposure& exposure, int count) {
  std::vector<Step> steps(static_cast<std::size_t>(count));
  // Midpoints of equal parts have a second moment 1 − 1/count² of the sweep's, which shows in short trails (0.4 % of
  // their length with eleven steps): they are spread until theirs is the same.
  const double spread = count > 1 ? count / std::sqrt(count * count - 1.0) : 1.0;
  for (int i = 0; i < count; ++i) {
    const double s = ((2.0 * i + 1.0) / count - 1.0) * spread;
    steps[static_cast<std::size_t>(i)] = {s, exposure.attitude(s)};
  }
  return steps;
}

}  // namespace polewright::simulate
