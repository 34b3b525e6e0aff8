#include "stars/flags.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "base/parallel.hpp"
#include "stars/calibration.hpp"
#include "stars/neighbours.hpp"
#include "stars/profile.hpp"

namespace polewright {
namespace {

/// Light of a centred star in a pixel beside the brightest one, as a share of the brightest: the least any star shows.
double least_neighbour_share(double sigma_px) {
  const double k = 1.0 / (sigma_px * std::sqrt(2.0));
  const double middle = std::erf(0.5 * k), beside = 0.5 * (std::erf(1.5 * k) - std::erf(0.5 * k));
  return beside / middle;
}

/// Samples around one star above its own sky, in units of the noise; 0 outside the frame. The sky is that at the star:
/// evaluating the map at every pixel would cost more than all the rest.
class Pixels {
 public:
  Pixels(const Frame& frame, const BackgroundMap& background, PixelPoint star) : frame_(frame) {
    const int x = std::clamp(static_cast<int>(star.x), 0, frame.width - 1) & ~1;
    const int y = std::clamp(static_cast<int>(star.y), 0, frame.height - 1) & ~1;
    for (int c = 0; c < 4; ++c) {
      level_[static_cast<std::size_t>(c)] = background.level(x + (c & 1), y + (c >> 1));
      inverse_noise_[static_cast<std::size_t>(c)] = 1.0F / background.noise(x + (c & 1), y + (c >> 1));
    }
  }

  [[nodiscard]] bool contains(int x, int y) const { return x >= 0 && y >= 0 && x < frame_.width && y < frame_.height; }
  [[nodiscard]] double z(int x, int y) const {
    if (!contains(x, y)) return 0.0;
    const auto c = static_cast<std::size_t>(2 * (y & 1) + (x & 1));
    return static_cast<double>((static_cast<float>(frame_.at(x, y)) - level_[c]) * inverse_noise_[c]);
  }
  /// Mean over the pixels along (dx, dy) from `from` to `to` steps away. A star on the way counts no more than a
  /// bright piece of a column would.
  [[nodiscard]] double mean_along(PixelPoint p, double dx, double dy, double from, double to) const {
    double sum = 0.0;
    int n = 0;
    for (double s = from; s <= to; s += 1.0, ++n) sum += std::min(4.0, z_near(p, s * dx, s * dy));
    return n > 0 ? sum / n : 0.0;
  }
  /// The same with the median, which a star on the way does not lift.
  [[nodiscard]] double median_along(PixelPoint p, double dx, double dy, double from, double to) const {
    std::vector<double> v;
    for (double s = from; s <= to; s += 1.0) v.push_back(z_near(p, s * dx, s * dy));
    return median_or(std::move(v), 0.0);
  }

 private:
  [[nodiscard]] double z_near(PixelPoint p, double dx, double dy) const {
    return z(static_cast<int>(std::lround(p.x + dx)), static_cast<int>(std::lround(p.y + dy)));
  }

  const Frame& frame_;
  std::array<float, 4> level_{}, inverse_noise_{};
};

/// Judges one star.
class Judge {
 public:
  Judge(const Frame& frame, const BackgroundMap& background, const FrameProfile& profile, PixelPoint star)
      : mosaic_(frame.mosaic.is_colour()),
        interpolated_(frame.planes_combined > 1),
        least_share_(mosaic_         ? 0.15
                     : interpolated_ ? 0.72
                                     : 0.45),
        pixels_(frame, background, star),
        profile_(profile),
        neighbour_share_(least_neighbour_share(profile.sigma_px)) {}

  void judge(Star& s) const {
    constexpr double kBright = 40.0;  // columns and silhouettes make no maxima as significant as this
    judge_sharpness(s);
    if (s.snr < kBright) judge_column(s);
    if (s.snr < kBright && !profile_.motion) judge_silhouette(s);
    if (!s.flags.saturated && !s.flags.hot_pixel) judge_streak(s);
  }

 private:
  /// A star lights the pixels beside its brightest one; a hot pixel does not, and a cosmic ray does on one side only.
  /// In a mosaic the neighbours belong to other colours, which a star of one colour lights much less.
  void judge_sharpness(Star& s) const {
    const int cx = static_cast<int>(std::lround(s.position.x)), cy = static_cast<int>(std::lround(s.position.y));
    int px = cx, py = cy;
    for (int y = cy - 1; y <= cy + 1; ++y)
      for (int x = cx - 1; x <= cx + 1; ++x)
        if (pixels_.z(x, y) > pixels_.z(px, py)) px = x, py = y;
    const double peak = pixels_.z(px, py);
    std::array<double, 4> beside{pixels_.z(px - 1, py), pixels_.z(px + 1, py), pixels_.z(px, py - 1),
                                 pixels_.z(px, py + 1)};
    const double mean = 0.25 * (beside[0] + beside[1] + beside[2] + beside[3]);
    std::sort(beside.begin(), beside.end());
    const double least = least_share_ * neighbour_share_ * peak;
    constexpr double kMeanNoise = 0.5;  // of four pixels, in units of one
    if (mean + 2.0 * kMeanNoise < least) s.flags.hot_pixel = true;
    if (s.flags.hot_pixel || s.flags.saturated) return;
    if (beside[1] + 3.0 < 1.2 * least && !mosaic_ && !profile_.motion) {
      // Two of the four sides dark, the others not: no image that the optics could make.
      s.flags.cosmic_ray = true;
    }
    const bool fitted = !s.flags.fit_failed && s.snr > 12.0;
    if (fitted && s.fwhm_px < (interpolated_ ? 0.7 : 0.5) * 2.355 * profile_.sigma_px) {
      const bool long_one = std::hypot(s.trail_x_px, s.trail_y_px) > 2.0 * profile_.sigma_px;
      (long_one && !profile_.motion ? s.flags.cosmic_ray : s.flags.hot_pixel) = true;
    }
  }

  /// Beside a silhouette one side of the surroundings is darker than the rest; what stands out there by less than the
  /// step is made by the step.
  void judge_silhouette(Star& s) const {
    constexpr int kSectors = 8;
    const double inner = 4.0 * profile_.sigma_px + 1.0, outer = inner + 6.0;
    static thread_local std::array<std::vector<double>, kSectors> sector;
    for (auto& v : sector) v.clear();
    const int r = static_cast<int>(std::ceil(outer));
    const int cx = static_cast<int>(std::lround(s.position.x)), cy = static_cast<int>(std::lround(s.position.y));
    for (int dy = -r; dy <= r; ++dy)
      for (int dx = -r; dx <= r; ++dx) {
        const double d = std::hypot(dx, dy);
        if (d < inner || d > outer || !pixels_.contains(cx + dx, cy + dy)) continue;
        const double turn = (std::atan2(dy, dx) / (2.0 * M_PI) + 0.5) * kSectors;
        sector[static_cast<std::size_t>(std::min(kSectors - 1, static_cast<int>(turn)))].push_back(
            pixels_.z(cx + dx, cy + dy));
      }
    std::vector<double> level;
    for (auto& v : sector)
      if (v.size() >= 6) level.push_back(median_or(v, 0.0));
    if (level.size() < 4) return;
    std::sort(level.begin(), level.end());
    // Sectors of 25 pixels: medians scatter by 0.25. Stars lift the upper levels, nothing but ground lowers the lowest.
    const double middle = level[level.size() / 2], step = middle - level[0];
    if (step > 1.6 && pixels_.z(cx, cy) - middle < 2.5 * step) s.flags.foreground = true;
  }

  /// A warm column goes on above and below the star, and not beside it.
  void judge_column(Star& s) const {
    const double skip = 4.0 * profile_.sigma_px + 2.0, reach = skip + 40.0;
    const double peak = std::max(
        1.0, pixels_.z(static_cast<int>(std::lround(s.position.x)), static_cast<int>(std::lround(s.position.y))));
    for (const bool vertical : {true, false}) {
      if (profile_.motion) {  // trails may run along the column
        double tx = 0.0, ty = 0.0;
        profile_.motion->at(s.position, tx, ty);
        if (std::abs(vertical ? ty : tx) > skip) continue;
      }
      const double ux = vertical ? 0.0 : 1.0, uy = vertical ? 1.0 : 0.0;
      const auto excess = [&](double sign) {
        const double on = pixels_.mean_along(s.position, sign * ux, sign * uy, skip, reach);
        const PixelPoint a{s.position.x + 3.0 * uy, s.position.y + 3.0 * ux};
        const PixelPoint b{s.position.x - 3.0 * uy, s.position.y - 3.0 * ux};
        const double off = 0.5 * (pixels_.mean_along(a, sign * ux, sign * uy, skip, reach) +
                                  pixels_.mean_along(b, sign * ux, sign * uy, skip, reach));
        return on - off;
      };
      // 40 pixels: the excess scatters by 0.2, and both sides have to show it.
      const double both = std::min(excess(-1.0), excess(1.0));
      if (both > 0.4 && both > 0.12 * peak) s.flags.column = true;
    }
  }

  /// A streak is long where the frame's stars are not, and goes on beyond the star's window.
  void judge_streak(Star& s) const {
    double tx = s.trail_x_px, ty = s.trail_y_px, fx = 0.0, fy = 0.0;
    if (s.flags.fit_failed && !profile_.motion)  // too long for a fit
      root_of({12.0 * (s.moments.xx - s.moments.yy), 24.0 * s.moments.xy}, tx, ty);
    const double length = std::hypot(tx, ty);
    if (profile_.motion) profile_.motion->at(s.position, fx, fy);
    const double off = std::min(std::hypot(tx - fx, ty - fy), std::hypot(tx + fx, ty + fy));
    if (length < 3.0 * profile_.sigma_px || off < 2.5 * profile_.sigma_px) return;
    const double half = 0.5 * std::hypot(fx, fy) + 4.0 * profile_.sigma_px;
    const double ahead = pixels_.median_along(s.position, tx / length, ty / length, half, half + 16.0);
    const double behind = pixels_.median_along(s.position, -tx / length, -ty / length, half, half + 16.0);
    if (std::max(ahead, behind) < 1.2) return;
    s.flags.streak = true;
    s.trail_x_px = tx;
    s.trail_y_px = ty;
  }

  bool mosaic_;
  /// Interpolated colours give a hot pixel half its light on all sides, and no star is sharper than that blur lets it.
  bool interpolated_;
  double least_share_;  ///< of what the frame's stars show beside their brightest pixel
  Pixels pixels_;
  const FrameProfile& profile_;
  double neighbour_share_;
};

/// A faint warm column shows as one detection above another: faint ones in a column or row that holds many more than
/// its share belong to it.
void flag_crowded_lines(int width, int height, std::vector<Star>& stars) {
  constexpr double kFaint = 12.0;
  constexpr int kLeast = 4;
  for (const bool vertical : {true, false}) {
    std::vector<int> count(static_cast<std::size_t>(vertical ? width : height) + 1, 0);
    const auto line_of = [&](const Star& s) {
      return static_cast<std::size_t>(std::clamp<long>(std::lround(vertical ? s.position.x : s.position.y), 0,
                                                       static_cast<long>(count.size()) - 1));
    };
    int faint = 0;
    for (const Star& s : stars)
      if (s.snr < kFaint && !s.flags.hot_pixel && !s.flags.foreground) ++count[line_of(s)], ++faint;
    const double usual = static_cast<double>(faint) / static_cast<double>(count.size());
    for (Star& s : stars) {
      const std::size_t line = line_of(s);
      int here = count[line];
      if (line > 0) here += count[line - 1];
      if (line + 1 < count.size()) here += count[line + 1];
      // Three lines hold 3·usual on average; six roots above is chance once in a hundred frames.
      if (s.snr < kFaint && here >= kLeast + 1 && here > 3.0 * usual + 6.0 * std::sqrt(3.0 * usual))
        s.flags.column = true;
    }
  }
}

/// Stars that share a line with several streak pieces belong to the streak.
void extend_streaks(double sigma_px, std::vector<Star>& stars) {
  std::vector<std::size_t> pieces;
  for (std::size_t i = 0; i < stars.size(); ++i)
    if (stars[i].flags.streak) pieces.push_back(i);
  if (pieces.size() < 3 || pieces.size() > 3000) return;
  for (Star& s : stars) {
    if (!s.flags.usable()) continue;
    int aligned = 0;
    for (const std::size_t k : pieces) {
      const Star& p = stars[k];
      const double length = std::hypot(p.trail_x_px, p.trail_y_px);
      const double dx = s.position.x - p.position.x, dy = s.position.y - p.position.y, distance = std::hypot(dx, dy);
      const double across = std::abs(dx * p.trail_y_px - dy * p.trail_x_px) / length;
      if (distance < 60.0 && across < 1.5 * sigma_px + 0.03 * distance) ++aligned;
    }
    if (aligned >= 2) s.flags.streak = true;
  }
}

/// A neighbour within 1.3 full widths that has a tenth of the star's light moves its centroid unless both are fitted
/// together, and what the joint fit leaves is less certain than it claims.
void flag_blends(double sigma_px, std::vector<Star>& stars) {
  double longest = 0.0;
  for (const Star& s : stars) longest = std::max(longest, std::hypot(s.trail_x_px, s.trail_y_px));
  const double reach = 3.0 * sigma_px;
  const auto near = neighbours_within(stars, reach + std::min(longest, 200.0));
  for (std::size_t i = 0; i < stars.size(); ++i)
    for (const std::uint32_t k : near[i]) {
      if (stars[k].flux < 0.1 * stars[i].flux || !stars[k].flags.usable()) continue;
      const double dx = stars[k].position.x - stars[i].position.x, dy = stars[k].position.y - stars[i].position.y;
      const double length = std::hypot(stars[i].trail_x_px, stars[i].trail_y_px);
      const double ux = length > 0.0 ? stars[i].trail_x_px / length : 1.0;
      const double uy = length > 0.0 ? stars[i].trail_y_px / length : 0.0;
      const double along = std::max(0.0, std::abs(dx * ux + dy * uy) - length), across = dy * ux - dx * uy;
      if (std::hypot(along, across) < reach) stars[i].flags.blended = true;
    }
}

/// A pair too close for two maxima is one image longer than those around it. Compared with its neighbours on the frame,
/// not with the frame as a whole: lens corners are long too.
void flag_unresolved(double sigma_px, std::vector<Star>& stars) {
  constexpr std::size_t kReference = 600, kNearest = 9;
  std::vector<std::size_t> fitted;
  for (std::size_t i = 0; i < stars.size(); ++i)
    if (stars[i].flags.usable() && !stars[i].flags.saturated && !stars[i].flags.fit_failed && stars[i].snr > 20.0)
      fitted.push_back(i);
  if (fitted.size() < 2 * kNearest) return;
  std::vector<std::size_t> reference;
  for (std::size_t k = 0; k < fitted.size(); k += std::max<std::size_t>(1, fitted.size() / kReference))
    reference.push_back(fitted[k]);
  for (const std::size_t i : fitted) {
    Star& s = stars[i];
    std::vector<std::pair<double, std::size_t>> near;
    for (const std::size_t k : reference)
      if (k != i)
        near.emplace_back(std::hypot(stars[k].position.x - s.position.x, stars[k].position.y - s.position.y), k);
    std::partial_sort(near.begin(), near.begin() + kNearest, near.end());
    std::vector<double> q1, q2;
    for (std::size_t k = 0; k < kNearest; ++k) {
      q1.push_back(stars[near[k].second].trail_q1_px2);
      q2.push_back(stars[near[k].second].trail_q2_px2);
    }
    const double off = std::hypot(s.trail_q1_px2 - median_or(q1, 0.0), s.trail_q2_px2 - median_or(q2, 0.0));
    const double noise = std::sqrt(s.trail_q_cov.xx + s.trail_q_cov.yy);
    if (off > 4.5 * noise && off > 4.0 * sigma_px * sigma_px) s.flags.blended = true;
  }
}

}  // namespace

void flag_doubtful(const Frame& frame, const BackgroundMap& background, const FrameProfile& profile, int threads,
                   std::vector<Star>& stars) {
  constexpr std::size_t kBatch = 64;
  parallel_for((stars.size() + kBatch - 1) / kBatch, threads, [&](std::size_t b) {
    for (std::size_t i = b * kBatch; i < std::min(stars.size(), (b + 1) * kBatch); ++i)
      Judge(frame, background, profile, stars[i].position).judge(stars[i]);
  });
  extend_streaks(profile.sigma_px, stars);
  if (!profile.motion) flag_crowded_lines(frame.width, frame.height, stars);
  flag_blends(profile.sigma_px, stars);
  flag_unresolved(profile.sigma_px, stars);
}

}  // namespace polewright
