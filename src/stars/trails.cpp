#include "stars/trails.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "base/parallel.hpp"
#include "stars/calibration.hpp"
#include "stars/components.hpp"
#include "stars/detect.hpp"
#include "stars/star_size.hpp"

namespace polewright {
namespace {

constexpr double kBright = 7.0;            // σ of the round filter that a trail must show to help find the motion
constexpr double kShortest_px = 2.5;       // below, a frame's stars are better found as points
constexpr int kBlock = 32;                 // px over which one direction and length serve
constexpr std::size_t kMaxExamples = 600;  // bright images that vote on the motion

/// Trails of the bright groups: length from the moments, which for a swept image differ by L²/12. Hot pixels, which may
/// outnumber the stars of a long exposure, have no say.
std::vector<TrailSample> bright_trails(const Frame& frame, const BackgroundMap& background,
                                       const std::vector<Component>& groups) {
  const auto lone = [&](const Component& c) {
    return stands_alone(frame, background, static_cast<int>(std::lround(c.centre.x)),
                        static_cast<int>(std::lround(c.centre.y)));
  };
  std::vector<const Component*> sorted;
  for (const Component& c : groups)
    if (c.x0 > 1 && c.y0 > 1 && c.x1 < frame.width - 2 && c.y1 < frame.height - 2 && !lone(c)) sorted.push_back(&c);
  std::stable_sort(sorted.begin(), sorted.end(), [](const auto* a, const auto* b) { return a->peak > b->peak; });
  if (sorted.size() > kMaxExamples) sorted.resize(kMaxExamples);
  std::vector<TrailSample> out;
  for (const Component* c : sorted) {
    const double half = 0.5 * (c->moments.xx - c->moments.yy);
    const double length = std::sqrt(12.0 * 2.0 * std::hypot(half, c->moments.xy));
    const double angle = 0.5 * std::atan2(c->moments.xy, half);
    out.push_back({c->centre, length * std::cos(angle), length * std::sin(angle)});
  }
  return out;
}

/// Adds up the significance along the trail at every promising pixel of one block and keeps local maxima.
class BlockSearch {
 public:
  BlockSearch(const SignificanceMap& map, const MotionField& field, double sigma_px)
      : map_(map), field_(field), sigma_px_(sigma_px) {}

  void run(int x0, int y0, double threshold, std::vector<TrailCandidate>& out) {
    set_direction({x0 + kBlock / 2.0, y0 + kBlock / 2.0});
    const auto promising = static_cast<std::int16_t>(0.8F / SignificanceMap::kStep);
    total_.fill(-1e9F);
    const bool inside = is_inside(x0, y0);
    for (int y = std::max(0, y0 - 1); y <= std::min(map_.height - 1, y0 + kBlock); ++y) {
      const std::int16_t* row = map_.row(y);
      for (int x = std::max(0, x0 - 1); x <= std::min(map_.width - 1, x0 + kBlock); ++x)
        if (row[x] > promising) at(x - x0, y - y0) = along(x, y, inside);
    }
    for (int y = 0; y < kBlock; ++y)
      for (int x = 0; x < kBlock; ++x) {
        const float v = at(x, y);
        if (static_cast<double>(v) > threshold && is_maximum(x, y, v)) out.push_back(candidate(x0 + x, y0 + y, v));
      }
  }

 private:
  static constexpr int kSide = kBlock + 2;
  float& at(int x, int y) { return total_[static_cast<std::size_t>((y + 1) * kSide + x + 1)]; }

  void set_direction(PixelPoint middle) {
    field_.at(middle, tx_, ty_);
    const double length = std::hypot(tx_, ty_);
    const int n = std::max(1, static_cast<int>(std::ceil(length / sigma_px_)));
    steps_.clear();
    for (int j = 0; j < n; ++j) {
      const double f = (j + 0.5) / n - 0.5;
      steps_.push_back({static_cast<int>(std::lround(f * tx_)), static_cast<int>(std::lround(f * ty_))});
    }
    offsets_.clear();
    for (const auto& s : steps_) offsets_.push_back(static_cast<std::ptrdiff_t>(s[1]) * map_.width + s[0]);
    // The round filter correlates samples at distance d by exp(−d²/4σ²), which is nothing beyond 6σ. The steps are at
    // least half a σ long, or there is one.
    constexpr std::size_t kFar = 12;
    double variance = static_cast<double>(steps_.size());
    for (std::size_t i = 0; i < steps_.size(); ++i)
      for (std::size_t k = i + 1; k < std::min(steps_.size(), i + kFar + 1); ++k) {
        const double dx = steps_[i][0] - steps_[k][0], dy = steps_[i][1] - steps_[k][1];
        variance += 2.0 * std::exp(-0.25 * (dx * dx + dy * dy) / (sigma_px_ * sigma_px_));
      }
    scale_ = SignificanceMap::kStep / static_cast<float>(std::sqrt(variance));
  }
  /// True when every trail with its middle in the block lies on the frame; the ends are the farthest steps.
  [[nodiscard]] bool is_inside(int x0, int y0) const {
    const int dx = std::abs(steps_.front()[0]) + 1, dy = std::abs(steps_.front()[1]) + 1;
    return x0 - dx > 0 && y0 - dy > 0 && x0 + kBlock + dx < map_.width && y0 + kBlock + dy < map_.height;
  }
  [[nodiscard]] float along(int x, int y, bool inside) const {
    int sum = 0;
    if (inside) {
      const std::int16_t* here = map_.row(y) + x;
      for (const std::ptrdiff_t offset : offsets_) sum += here[offset];
    } else {
      for (const auto& s : steps_)
        if (map_.contains(x + s[0], y + s[1])) sum += map_.row(y + s[1])[x + s[0]];
    }
    return static_cast<float>(sum) * scale_;
  }
  bool is_maximum(int x, int y, float v) {
    for (int dy = -1; dy <= 1; ++dy)
      for (int dx = -1; dx <= 1; ++dx) {
        if (dx == 0 && dy == 0) continue;
        const float o = at(x + dx, y + dy);
        if (dy < 0 || (dy == 0 && dx < 0) ? o >= v : o > v) return false;
      }
    return true;
  }
  [[nodiscard]] TrailCandidate candidate(int x, int y, float total) {
    values_.clear();
    double mean = 0.0;
    for (const auto& s : steps_) {
      const bool inside = map_.contains(x + s[0], y + s[1]);
      values_.push_back(inside ? map_.row(y + s[1])[x + s[0]] : 0);
      mean += values_.back();
    }
    // A hot pixel or a crossing star lights a few samples; a trail lights the fainter two thirds of them too.
    std::sort(values_.begin(), values_.end());
    const std::size_t fainter = std::max<std::size_t>(1, values_.size() * 2 / 3);
    double faint_mean = 0.0;
    for (std::size_t k = 0; k < fainter; ++k) faint_mean += values_[k];
    const double evenness = (faint_mean / static_cast<double>(fainter)) / (mean / static_cast<double>(values_.size()));
    const PixelPoint p{static_cast<double>(x), static_cast<double>(y)};
    return {p, tx_, ty_, static_cast<double>(total), mean > 0.0 ? evenness : 0.0};
  }

  const SignificanceMap& map_;
  const MotionField& field_;
  double sigma_px_, tx_ = 0.0, ty_ = 0.0;
  float scale_ = 1.0F;
  std::vector<std::array<int, 2>> steps_;
  std::vector<std::ptrdiff_t> offsets_;  ///< of the steps, in samples
  std::vector<int> values_;
  std::array<float, static_cast<std::size_t>(kSide) * kSide> total_{};
};

/// What a trail of significance 1 adds to the filter's answer at another place: a triangle along, a Gaussian across.
double spill(const TrailCandidate& from, const TrailCandidate& to, double sigma_px) {
  const double length = std::max(std::hypot(from.tx, from.ty), 1e-9);
  const double ux = from.tx / length, uy = from.ty / length;
  const double dx = to.middle.x - from.middle.x, dy = to.middle.y - from.middle.y;
  const double along = std::abs(dx * ux + dy * uy), across = dy * ux - dx * uy;
  const double soft = length + 2.0 * sigma_px;
  const double triangle = std::max(0.0, 1.0 - along / soft);
  return triangle * std::exp(-across * across / (4.0 * sigma_px * sigma_px)) +
         (along < soft && std::abs(across) < 6.0 * sigma_px ? 0.02 : 0.0);
}

/// Brightest first; a fainter maximum stays when it stands out of what the accepted ones explain.
std::vector<TrailCandidate> untangle(std::vector<TrailCandidate> all, double sigma_px, double threshold, int width,
                                     int height) {
  std::sort(all.begin(), all.end(), [](const auto& a, const auto& b) {
    if (a.significance != b.significance) return a.significance > b.significance;
    return a.middle.y != b.middle.y ? a.middle.y < b.middle.y : a.middle.x < b.middle.x;
  });
  double longest = 0.0;
  for (const auto& c : all) longest = std::max(longest, std::hypot(c.tx, c.ty));
  const double cell = std::max(16.0, longest + 8.0 * sigma_px);
  const int nx = static_cast<int>(width / cell) + 1, ny = static_cast<int>(height / cell) + 1;
  std::vector<std::vector<std::size_t>> grid(static_cast<std::size_t>(nx * ny));
  std::vector<TrailCandidate> kept;
  for (const TrailCandidate& c : all) {
    const int cx = static_cast<int>(c.middle.x / cell), cy = static_cast<int>(c.middle.y / cell);
    double explained = 0.0;
    for (int y = std::max(0, cy - 1); y <= std::min(ny - 1, cy + 1); ++y)
      for (int x = std::max(0, cx - 1); x <= std::min(nx - 1, cx + 1); ++x)
        for (const std::size_t k : grid[static_cast<std::size_t>(y * nx + x)])
          explained += kept[k].significance * spill(kept[k], c, sigma_px);
    if (c.significance - explained < std::max(threshold, 0.5 * explained)) continue;
    grid[static_cast<std::size_t>(cy * nx + cx)].push_back(kept.size());
    kept.push_back(c);
  }
  return kept;
}

double median_length(const MotionField& field, const std::vector<TrailSample>& trails) {
  std::vector<double> lengths;
  for (const auto& t : trails) {
    double tx = 0.0, ty = 0.0;
    field.at(t.position, tx, ty);
    lengths.push_back(std::hypot(tx, ty));
  }
  return median_or(std::move(lengths), 0.0);
}

}  // namespace

std::optional<TrailedFrame> detect_trails(const Frame& frame, const BackgroundMap& background, double sigma_px,
                                          double threshold, double bend, int threads) {
  const SignificanceMap map = significance_map(frame, background, sigma_px, threads);
  const auto least = static_cast<int>(4.0 * sigma_px * sigma_px) + 4;
  const std::vector<TrailSample> examples = bright_trails(frame, background, components_above(map, kBright, least));
  const PixelPoint centre{0.5 * (frame.width - 1), 0.5 * (frame.height - 1)};
  const auto field = fit_motion_field(examples, centre, bend, 1.5 + sigma_px);
  if (!field || median_length(*field, examples) < std::max(kShortest_px, 2.5 * sigma_px)) return {};

  const int nx = (frame.width + kBlock - 1) / kBlock, ny = (frame.height + kBlock - 1) / kBlock;
  std::vector<std::vector<TrailCandidate>> found(static_cast<std::size_t>(ny));
  parallel_for(found.size(), threads, [&](std::size_t by) {
    BlockSearch search(map, *field, sigma_px);
    for (int bx = 0; bx < nx; ++bx) search.run(bx * kBlock, static_cast<int>(by) * kBlock, threshold, found[by]);
  });
  std::vector<TrailCandidate> all;
  for (const auto& part : found) all.insert(all.end(), part.begin(), part.end());
  return TrailedFrame{*field, untangle(std::move(all), sigma_px, threshold, frame.width, frame.height)};
}

}  // namespace polewright
