#include "identify/vote.hpp"

#include <algorithm>
#include <cmath>

namespace polewright {
namespace {

constexpr std::uint32_t kDetections = 80;
constexpr std::size_t kStars = 160;
constexpr double kReach = 0.3;  // of the half diagonal
constexpr int kCells = 60;      // across the reach, each way from −1 to 1
constexpr int kFewestVotes = 4;

}  // namespace

std::optional<Seed> vote_for_shift(const Detections& detections, const Catalogue& catalogue, const Pose& near) {
  const auto axis = near.lens.unproject(detections.centre());
  const auto corner = near.lens.unproject({-0.5, -0.5});
  if (!axis || !corner) return {};
  const auto stars = field_stars(catalogue, near.camera_from_icrs.inverse() * *axis,
                                 angle_between(*axis, *corner) * (1.0 + kReach), kStars, {});
  const double reach = kReach * detections.half_diagonal_px(), cell = 2.0 * reach / kCells;
  const std::uint32_t among = std::min(kDetections, detections.size());
  // Every vote also counts for the neighbouring cells, so that a shift on an edge is not split.
  std::vector<int> votes((kCells + 2) * (kCells + 2), 0);
  for (const FieldStar& s : stars) {
    const auto p = near.project(s.direction);
    if (!p) continue;
    for (std::uint32_t i = 0; i < among; ++i) {
      const double dx = (detections[i].place.x - p->x + reach) / cell,
                   dy = (detections[i].place.y - p->y + reach) / cell;
      if (dx < 0.0 || dy < 0.0 || dx >= kCells || dy >= kCells) continue;
      for (int y = 0; y < 3; ++y)
        for (int x = 0; x < 3; ++x)
          ++votes[static_cast<std::size_t>((static_cast<int>(dy) + y) * (kCells + 2) + static_cast<int>(dx) + x)];
    }
  }
  const auto most = std::max_element(votes.begin(), votes.end());
  if (*most < kFewestVotes) return {};
  const auto at = static_cast<int>(most - votes.begin());
  const double shift_x = (at % (kCells + 2) - 0.5) * cell - reach, shift_y = (at / (kCells + 2) - 0.5) * cell - reach;

  // The direction now at centre − shift is to come to the centre.
  const PixelPoint c = detections.centre();
  const auto from = near.lens.unproject({c.x - shift_x, c.y - shift_y});
  if (!from) return {};
  Seed seed;
  seed.pose = near;
  if (const Vec<Camera> across = from->cross(*axis); across.norm() > 1e-12)
    seed.pose.camera_from_icrs = rotation_about(across.unit(), angle_between(*from, *axis)) * near.camera_from_icrs;
  seed.centre = c;
  seed.known_px = seed.reach_px = 2.0 * detections.half_diagonal_px();
  seed.allowed_px = 2.0 * cell;
  return seed;
}

}  // namespace polewright
