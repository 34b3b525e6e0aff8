#include "advise/field_motion.hpp"

#include <algorithm>
#include <cmath>

namespace polewright::advise_detail {
namespace {

constexpr int kGrid = 5;      // trails are longest at an edge or corner; between them they change slowly
constexpr int kInstants = 5;  // path as four chords: short by 0.1 % for an arc of half a radian

}  // namespace

Rotation<Camera, Enu> TurningCamera::attitude(double seconds) const {
  const double turn = -hemisphere_sign(site) * rate_ratio * kSiderealRate_rad_per_s * seconds;
  return camera_from_enu * rotation_about(axis, Angle::rad(-turn));
}

std::optional<std::size_t> last_frame(const MountSolution& mount) {
  for (std::size_t i = mount.frames.size(); i-- > 0;)
    if (!mount.frames[i].set_aside) return i;
  return {};
}

std::optional<TurningCamera> camera_as_found(const MountSolution& mount, const MountProblem& problem) {
  const auto last = last_frame(mount);
  if (!last || !(mount.lens.focal_px > 0.0)) return {};
  const MountFrame& frame = problem.frames[*last];
  const bool solved = mount.outcome == MountOutcome::solved;
  return TurningCamera{problem.site,
                       problem.weather,
                       frame.mid_time,
                       mount.frames[*last].camera_from_enu,
                       solved ? mount.axis : visible_pole(problem.site, problem.weather, problem.reference_pole),
                       mount.rate_ratio.value_or(1.0),
                       mount.lens,
                       frame.width_px,
                       frame.height_px};
}

std::vector<PixelPoint> frame_grid(int width_px, int height_px) {
  std::vector<PixelPoint> grid;
  for (int r = 0; r < kGrid; ++r)
    for (int c = 0; c < kGrid; ++c)
      grid.push_back({c * (width_px - 1.0) / (kGrid - 1), r * (height_px - 1.0) / (kGrid - 1)});
  return grid;
}

double worst_trail_px(const TurningCamera& camera, double exposure_s, bool ground) {
  const SkyAt middle(camera.start, camera.site, camera.weather);
  struct Moving {
    Vec<Enu> place;
    Vec<Icrs> star;
    std::optional<PixelPoint> last;
    double path_px = 0.0;
  };
  std::vector<Moving> points;
  for (const PixelPoint p : frame_grid(camera.width_px, camera.height_px))
    if (const auto d = camera.lens.unproject(p)) {
      const Vec<Enu> place = camera.camera_from_enu.inverse() * *d;
      points.push_back({place, ground ? Vec<Icrs>{} : middle.icrs(place), {}, 0.0});
    }
  for (int k = 0; k < kInstants; ++k) {
    const double t = exposure_s * (static_cast<double>(k) / (kInstants - 1) - 0.5);
    const SkyAt sky(camera.start.plus_seconds(t), camera.site, camera.weather);
    const auto attitude = camera.attitude(t);
    for (Moving& m : points) {
      const auto now = camera.lens.project(attitude * (ground ? m.place : sky.observed(m.star)));
      if (now && m.last) m.path_px += std::hypot(now->x - m.last->x, now->y - m.last->y);
      m.last = now;
    }
  }
  double worst = 0.0;
  for (const Moving& m : points) worst = std::max(worst, m.path_px);
  return worst;
}

}  // namespace polewright::advise_detail
