#include "identify/pattern_build.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>
#include <numbers>
#include <numeric>

#include "identify/fan.hpp"

namespace polewright {
namespace {

constexpr std::size_t kRank = 8;  // how many brighter neighbours push a star out of a level

int bands_for(double cell_deg) {
  return std::max(1, static_cast<int>(180.0 / cell_deg));
}

/// Stars nearer to their anchor than this share of the spacing melt into one image in a picture of that scale.
constexpr double kMelting = 0.08;

/// The nearest neighbours of one star, nearest first, in a level whose stars are ordered by cell.
class Neighbours {
 public:
  Neighbours(const std::vector<BrightStar>& stars, const SkyCells& cells, const std::vector<std::uint32_t>& first,
             double spacing_rad)
      : stars_(stars), cells_(cells), first_(first), spacing_(spacing_rad) {}

  /// Fewer than `count` when the sphere holds no more.
  const std::vector<std::pair<double, std::uint32_t>>& nearest(std::uint32_t star, std::size_t count) {
    const Vec<Icrs> centre = stars_[star].direction;
    for (double radius = 1.6 * spacing_;; radius *= 1.6) {
      found_.clear();
      const double limit = 2.0 * std::sin(0.5 * std::min(radius, std::numbers::pi));
      cells_.visit_cone(centre, Angle::rad(std::min(radius, std::numbers::pi)),
                        [&](std::uint32_t from, std::uint32_t to) {
                          for (std::uint32_t i = first_[from]; i < first_[to]; ++i) {
                            const double distance = (stars_[i].direction - centre).norm();
                            if (i != star && distance <= limit && distance > kMelting * spacing_)
                              found_.emplace_back(distance, i);
                          }
                        });
      if (found_.size() >= count || radius > std::numbers::pi) break;
    }
    const auto keep = static_cast<std::ptrdiff_t>(std::min(count, found_.size()));
    std::partial_sort(found_.begin(), found_.begin() + keep, found_.end());
    found_.resize(static_cast<std::size_t>(keep));
    return found_;
  }

 private:
  const std::vector<BrightStar>& stars_;
  const SkyCells& cells_;
  const std::vector<std::uint32_t>& first_;
  double spacing_;
  std::vector<std::pair<double, std::uint32_t>> found_;
};

std::array<std::uint8_t, 4> quantised(const FanCode& code) {
  std::array<std::uint8_t, 4> q;
  for (std::size_t d = 0; d < 4; ++d)
    q[d] = static_cast<std::uint8_t>(std::clamp(std::lround((code[d] + 1.0) * 127.5), 0L, 255L));
  return q;
}

/// Orders fans by bucket of their code, so that a look-up reads few short runs.
void sort_into_buckets(LevelTables& level) {
  // About eight fans per bucket; codes fill a third of the four-dimensional cube.
  const double wanted = static_cast<double>(level.fan.size()) / 8.0 * 3.0;
  level.bins = static_cast<std::uint32_t>(std::clamp(std::pow(wanted, 0.25), 4.0, 32.0));
  const std::uint32_t bins = level.bins;
  const auto bucket_of = [&](const std::array<std::uint8_t, 4>& c) {
    return ((c[0] * bins / 256 * bins + c[1] * bins / 256) * bins + c[2] * bins / 256) * bins + c[3] * bins / 256;
  };
  level.bucket.assign(std::size_t{bins} * bins * bins * bins + 1, 0);
  for (const auto& c : level.code) ++level.bucket[bucket_of(c) + 1];
  std::partial_sum(level.bucket.begin(), level.bucket.end(), level.bucket.begin());
  auto next = level.bucket;
  auto codes = level.code;
  auto fans = level.fan;
  for (std::size_t i = 0; i < codes.size(); ++i) {
    const std::uint32_t at = next[bucket_of(codes[i])]++;
    level.code[at] = codes[i];
    level.fan[at] = fans[i];
  }
}

}  // namespace

const std::array<Choice, 120>& neighbour_choices() {
  static const auto table = [] {
    std::array<Choice, 120> all{};
    std::size_t at = 0;
    for (std::uint8_t far = 2; far < kMaxNeighbours; ++far)
      for (std::uint8_t middle = 1; middle < far; ++middle)
        for (std::uint8_t near = 0; near < middle; ++near) all[at++] = {near, middle, far};
    return all;
  }();
  return table;
}

std::vector<BrightStar> stars_of_level(const std::vector<BrightStar>& bright, double spacing_deg) {
  const double radius_deg = spacing_deg * std::sqrt(static_cast<double>(kRank) / std::numbers::pi);
  const double limit = 2.0 * std::sin(0.5 * Angle::deg(radius_deg).rad());
  const SkyCells cells(bands_for(radius_deg));
  std::vector<std::vector<Vec<Icrs>>> kept(cells.count());
  std::vector<BrightStar> level;
  for (const BrightStar& star : bright) {
    std::size_t brighter = 0;
    cells.visit_cone(star.direction, Angle::deg(radius_deg), [&](std::uint32_t from, std::uint32_t to) {
      for (std::uint32_t cell = from; cell < to && brighter < kRank; ++cell)
        for (const Vec<Icrs>& d : kept[cell]) brighter += (d - star.direction).norm() <= limit ? 1 : 0;
    });
    if (brighter >= kRank) continue;
    kept[cells.cell_of(star.direction)].push_back(star.direction);
    level.push_back(star);
  }
  return level;
}

LevelTables build_level(const std::vector<BrightStar>& bright, const LevelPlan& plan) {
  assert(plan.neighbours >= 3 && plan.neighbours <= kMaxNeighbours);
  LevelTables level;
  level.bands = static_cast<std::uint32_t>(bands_for(1.5 * plan.spacing_deg));
  const SkyCells cells(static_cast<int>(level.bands));
  std::vector<std::pair<std::uint32_t, std::uint32_t>> order;
  for (std::uint32_t i = 0; i < bright.size(); ++i) order.emplace_back(cells.cell_of(bright[i].direction), i);
  std::sort(order.begin(), order.end());
  std::vector<BrightStar> stars;
  level.first.assign(cells.count() + 1, 0);
  for (const auto& [cell, i] : order) {
    ++level.first[cell + 1];
    stars.push_back(bright[i]);
    const Vec<Icrs> d = bright[i].direction;
    level.direction.push_back({static_cast<float>(d.x), static_cast<float>(d.y), static_cast<float>(d.z)});
    level.catalogue.push_back(bright[i].catalogue);
  }
  std::partial_sum(level.first.begin(), level.first.end(), level.first.begin());

  Neighbours neighbours(stars, cells, level.first, Angle::deg(plan.spacing_deg).rad());
  level.neighbour.assign(stars.size() * plan.neighbours, 0);
  for (std::uint32_t star = 0; star < stars.size(); ++star) {
    const auto& nearest = neighbours.nearest(star, plan.neighbours);
    const ShapePlane<Icrs> plane(stars[star].direction);
    std::array<std::complex<double>, kMaxNeighbours> place;
    for (std::size_t n = 0; n < nearest.size(); ++n) {
      level.neighbour[star * plan.neighbours + n] = nearest[n].second;
      place[n] = plane(stars[nearest[n].second].direction);
    }
    for (std::uint32_t c = 0; c < choices_of(static_cast<std::uint32_t>(nearest.size())); ++c) {
      const Choice choice = neighbour_choices()[c];
      level.code.push_back(quantised(fan_code(place[choice.near], place[choice.middle], place[choice.far])));
      level.fan.push_back(star << 8 | c);
    }
  }
  sort_into_buckets(level);
  return level;
}

}  // namespace polewright
