#include "stars/flags.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

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
    const std::size_t c = class_of(x, y);
    return static_cast<double>((static_cast<float>(frame_.at(x, y)) - level_[c]) * inverse_noise_[c]);
  }
  /// Mean over a line of `n` pixels from (x, y) on, to the right, left, down or up. A star on the way counts no more
  /// than a bright piece of a column would.
  [[nodiscard]] float mean_along(int x, int y, int step_x, int step_y, int n) const {
    float sum = 0.0F;
    if (contains(x, y) && contains(x + (n - 1) * step_x, y + (n - 1) * step_y)) {
      const std::uint16_t* at = &frame_.pixels[index(x, y)];
      const auto step = static_cast<std::ptrdiff_t>(step_y) * frame_.width + step_x;
      for (int i = 0; i < n; ++i, at += step, x += step_x, y += step_y) {
        const auto c = class_of(x, y);
        sum += std::min(4.0F, (static_cast<float>(*at) - level_[c]) * inverse_noise_[c]);
      }
    } else {
      for (int i = 0; i < n; ++i) sum += std::min(4.0F, static_cast<float>(z(x + i * step_x, y + i * step_y)));
    }
    return sum / static_cast<float>(n);
  }
  /// Median over pixels along (dx, dy) from `from` to `to` steps away.
  [[nodiscard]] double median_along(PixelPoint p, double dx, double dy, double from, double to) const {
    std::vector<double> v;
    for (double s = from; s <= to; s += 1.0)
      v.push_back(z(static_cast<int>(std::lround(p.x + s * dx)), static_cast<int>(std::lround(p.y + s * dy))));
    return median_or(std::move(v), 0.0);
  }

 private:
  [[nodiscard]] std::size_t index(int x, int y) const {
    return static_cast<std::size_t>(y) * static_cast<std::size_t>(frame_.width) + static_cast<std::size_t>(x);
  }
  [[nodiscard]] static std::size_t class_of(int x, int y) { return static_cast<std::size_t>(2 * (y & 1) + (x & 1)); }

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
    constexpr double kBright = 40.0;  // columns make no maxima as significant as this
    judge_sharpness(s);
    if (s.snr < kBright) judge_column(s);
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

  /// A warm column goes on above and below the star, and not beside it.
  void judge_column(Star& s) const {
    constexpr int kReach = 40, kBeside = 3;
    const int skip = static_cast<int>(std::ceil(4.0 * profile_.sigma_px + 2.0));
    const int cx = static_cast<int>(std::lround(s.position.x)), cy = static_cast<int>(std::lround(s.position.y));
    const double least = std::max(0.4, 0.12 * pixels_.z(cx, cy));
    for (const int down : {1, 0}) {
      const int right = 1 - down;
      if (profile_.motion) {  // trails may run along the column
        double tx = 0.0, ty = 0.0;
        profile_.motion->at(s.position, tx, ty);
        if (std::abs(down == 1 ? ty : tx) > skip) continue;
      }
      const auto excess = [&](int way) {
        const auto mean = [&](int beside) {
          const int x = cx + way * right * skip + beside * down, y = cy + way * down * skip + beside * right;
          return static_cast<double>(pixels_.mean_along(x, y, way * right, way * down, kReach));
        };
        return mean(0) - 0.5 * (mean(-kBeside) + mean(kBeside));
      };
      // 40 pixels: the excess scatters by 0.2, and both sides have to show it.
      if (excess(-1) > least && excess(1) > least) s.flags.column = true;
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

/// Where a silhouette made one maximum it made others: faint ones close to it are no better.
void spread_foreground(std::vector<Star>& stars) {
  constexpr double kReach_px = 12.0, kFaint = 8.5;
  std::vector<Star> ground;
  for (const Star& s : stars)
    if (s.flags.foreground) ground.push_back(s);
  const std::size_t made = ground.size();
  if (made == 0) return;
  std::vector<std::size_t> faint;
  for (std::size_t i = 0; i < stars.size(); ++i)
    if (stars[i].snr < kFaint && stars[i].flags.usable()) {
      faint.push_back(i);
      ground.push_back(stars[i]);
    }
  const auto near = neighbours_within(ground, kReach_px);
  for (std::size_t k = 0; k < faint.size(); ++k)
    for (const std::uint32_t other : near[made + k])
      if (other < made) stars[faint[k]].flags.foreground = true;
}

/// Stars that share a line with several streak pieces belong to the streak. Burnt-out ones do not: what lines up with
/// them is their own light, bled along the sensor's columns or rows.
void extend_streaks(double sigma_px, std::vector<Star>& stars) {
  std::vector<std::size_t> pieces;
  for (std::size_t i = 0; i < stars.size(); ++i)
    if (stars[i].flags.streak) pieces.push_back(i);
  if (pieces.size() < 3 || pieces.size() > 3000) return;
  for (Star& s : stars) {
    if (!s.flags.usable() || s.flags.saturated) continue;
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
    if (stars[i].flags.usable() && !stars[i].flags.saturated && !stars[i].flags.fit_failed && stars[i].snr > 15.0)
      fitted.push_back(i);
  if (fitted.size() < 2 * kNearest) return;
  std::vector<std::size_t> reference;
  for (std::size_t k = 0; k < fitted.size(); k += std::max<std::size_t>(1, fitted.size() / kReference))
    reference.push_back(fitted[k]);
  for (const std::size_t i : fitted) {
    Star& s = stars[i];
    std::array<std::pair<double, std::size_t>, kNearest> near;  // by squared distance, nearest first
    near.fill({std::numeric_limits<double>::infinity(), 0});
    for (const std::size_t k : reference) {
      const double dx = stars[k].position.x - s.position.x, dy = stars[k].position.y - s.position.y;
      const std::pair<double, std::size_t> here{dx * dx + dy * dy, k};
      if (k == i || !(here < near.back())) continue;
      near.back() = here;
      for (std::size_t n = kNearest - 1; n > 0 && near[n] < near[n - 1]; --n) std::swap(near[n], near[n - 1]);
    }
    std::vector<double> q1, q2;
    for (const auto& [distance, k] : near) {
      q1.push_back(stars[k].trail_q1_px2);
      q2.push_back(stars[k].trail_q2_px2);
    }
    const double off = std::hypot(s.trail_q1_px2 - median_or(q1, 0.0), s.trail_q2_px2 - median_or(q2, 0.0));
    const double noise = std::sqrt(s.trail_q_cov.xx + s.trail_q_cov.yy);
    if (off > 3.5 * noise && off > 4.0 * sigma_px * sigma_px) s.flags.blended = true;
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
  if (!profile.motion) spread_foreground(stars);
  if (!profile.motion) flag_crowded_lines(frame.width, frame.height, stars);
  flag_blends(profile.sigma_px, stars);
  flag_unresolved(profile.sigma_px, stars);
}

}  // namespace polewright
