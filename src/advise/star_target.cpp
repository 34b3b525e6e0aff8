#include <algorithm>

#include "advise/field_motion.hpp"
#include "polewright/advise.hpp"

namespace polewright {
namespace {

bool inside(PixelPoint p, const MountFrame& frame) {
  // A star at the very edge of the live view is no guide.
  const double margin = 0.03 * std::min(frame.width_px, frame.height_px);
  return p.x >= margin && p.y >= margin && p.x <= frame.width_px - 1 - margin && p.y <= frame.height_px - 1 - margin;
}

}  // namespace

std::optional<StarTarget> star_target(const MountSolution& mount, const MountProblem& problem, std::size_t frame,
                                      PixelPoint now) {
  assert(mount.outcome == MountOutcome::solved && frame < problem.frames.size());
  const auto direction = mount.lens.unproject(now);
  if (!direction) return {};
  // The base carries the camera: a star at s is seen where base⁻¹·s was seen before.
  const auto& camera_from_enu = mount.frames[frame].camera_from_enu;
  const Vec<Enu> star = camera_from_enu.inverse() * *direction;
  const BaseMove move = base_move(mount);
  const auto altitude = mount.lens.project(camera_from_enu * (move.altitude.inverse() * star));
  const auto both = mount.lens.project(camera_from_enu * ((move.azimuth * move.altitude).inverse() * star));
  if (!altitude || !both) return {};
  return StarTarget{"", now, *altitude, *both};
}

std::optional<StarTarget> choose_star_target(const MountSolution& mount, const MountProblem& problem) {
  const auto last = advise_detail::last_frame(mount);
  if (mount.outcome != MountOutcome::solved || !last) return {};
  const MountFrame& frame = problem.frames[*last];
  // The surest centroids belong to the brightest stars.
  std::vector<const MountStar*> brightest;
  for (const MountStar& s : frame.stars) brightest.push_back(&s);
  std::sort(brightest.begin(), brightest.end(), [](const MountStar* a, const MountStar* b) {
    return a->measured_cov.xx + a->measured_cov.yy < b->measured_cov.xx + b->measured_cov.yy;
  });
  for (const MountStar* s : brightest) {
    if (!inside(s->measured, frame)) continue;
    auto target = star_target(mount, problem, *last, s->measured);
    if (!target || !inside(target->after_both, frame) || !inside(target->after_altitude, frame)) continue;
    target->catalogue = s->catalogue;
    return target;
  }
  return {};
}

}  // namespace polewright
