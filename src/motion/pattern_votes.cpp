#include "motion/pattern_votes.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <unordered_map>

namespace polewright::motion_detail {
namespace {

struct Segment {
  double length, angle;
  std::size_t from, to;
};

std::vector<Segment> segments(const std::vector<Place>& places, const VoteOptions& options) {
  const std::size_t n = std::min(places.size(), static_cast<std::size_t>(options.stars));
  std::vector<Segment> out;
  for (std::size_t i = 0; i < n; ++i)
    for (std::size_t j = i + 1; j < n; ++j) {
      const double dx = places[j].position.x - places[i].position.x, dy = places[j].position.y - places[i].position.y;
      const double length = std::hypot(dx, dy);
      if (length >= options.smallest_length_px) out.push_back({length, std::atan2(dy, dx), i, j});
    }
  std::sort(out.begin(), out.end(), [](const Segment& x, const Segment& y) { return x.length < y.length; });
  return out;
}

struct Bin {
  int votes = 0;
  double roll = 0.0, x = 0.0, y = 0.0;  // sums
};

}  // namespace

std::vector<RigidMotion> vote_for_motions(const std::vector<Place>& a, const std::vector<Place>& b, PixelPoint centre,
                                          const VoteOptions& options) {
  const auto of_a = segments(a, options), of_b = segments(b, options);
  std::unordered_map<std::uint64_t, Bin> bins;
  const auto cast = [&](double roll, const Segment& s, std::size_t b_from, std::size_t b_to) {
    roll = std::remainder(roll, 2.0 * std::numbers::pi);
    if (std::abs(roll) > options.largest_roll_rad) return;
    const PixelPoint p{0.5 * (a[s.from].position.x + a[s.to].position.x),
                       0.5 * (a[s.from].position.y + a[s.to].position.y)};
    const PixelPoint turned = moved({roll, 0.0, 0.0}, centre, p);
    const double x = 0.5 * (b[b_from].position.x + b[b_to].position.x) - turned.x;
    const double y = 0.5 * (b[b_from].position.y + b[b_to].position.y) - turned.y;
    // Every vote goes to the four bins around it, so that no motion sits on an edge.
    const auto cx = static_cast<std::int64_t>(std::floor(x / options.bin_px));
    const auto cy = static_cast<std::int64_t>(std::floor(y / options.bin_px));
    for (std::int64_t k = 0; k < 4; ++k) {
      const std::uint64_t key = (static_cast<std::uint64_t>(cx + (k & 1) + (1 << 20)) << 32) |
                                static_cast<std::uint64_t>(cy + (k >> 1) + (1 << 20));
      Bin& bin = bins[key];
      ++bin.votes;
      bin.roll += roll, bin.x += x, bin.y += y;
    }
  };
  for (const Segment& s : of_a) {
    const double slack = options.length_tolerance_px + options.length_tolerance * s.length;
    auto it = std::lower_bound(of_b.begin(), of_b.end(), s.length - slack,
                               [](const Segment& seg, double length) { return seg.length < length; });
    for (; it != of_b.end() && it->length <= s.length + slack; ++it) {
      cast(it->angle - s.angle, s, it->from, it->to);
      cast(it->angle - s.angle + std::numbers::pi, s, it->to, it->from);
    }
  }
  std::vector<const Bin*> best;
  for (const auto& [key, bin] : bins) best.push_back(&bin);
  const std::size_t n = std::min(best.size(), static_cast<std::size_t>(options.candidates));
  std::partial_sort(best.begin(), best.begin() + static_cast<std::ptrdiff_t>(n), best.end(),
                    [](const Bin* x, const Bin* y) {
                      if (x->votes != y->votes) return x->votes > y->votes;
                      return std::pair(x->x, x->y) < std::pair(y->x, y->y);  // one order whatever the hash
                    });
  std::vector<RigidMotion> motions;
  for (std::size_t i = 0; i < n; ++i)
    motions.push_back({best[i]->roll / best[i]->votes, best[i]->x / best[i]->votes, best[i]->y / best[i]->votes});
  return motions;
}

}  // namespace polewright::motion_detail
