#include <algorithm>
#include <cmath>

#include "polewright/stars.hpp"
#include "stars/background.hpp"
#include "stars/calibration.hpp"
#include "stars/candidates.hpp"
#include "stars/find_images.hpp"
#include "stars/flags.hpp"
#include "stars/frame_fit.hpp"
#include "stars/frame_flags.hpp"
#include "stars/trail_field.hpp"

namespace polewright {
namespace {

constexpr double kFwhmPerSigma = 2.3548200450309493;  // 2√(2 ln 2)

/// A fit that wandered to another star, or that shares one star's light between two, says nothing about its own.
void take_back_runaways(const std::vector<Star>& before, const FrameProfile& profile, std::vector<Star>& stars) {
  for (std::size_t i = 0; i < before.size(); ++i) {
    const Star& first = before[i];
    const double length = std::hypot(first.trail_x_px, first.trail_y_px);
    const double moved = std::hypot(stars[i].position.x - first.position.x, stars[i].position.y - first.position.y);
    const bool lost = moved > 1.5 * profile.sigma_px + 0.5 + 0.3 * length || stars[i].flux < 0.2 * first.flux;
    if (!stars[i].flags.fit_failed && !first.flags.saturated && lost) stars[i] = first;
  }
}

/// The frame's own figures from its stars.
void summarise(const FrameProfile& profile, StarList& list) {
  list.psf_sigma_px = profile.sigma_px;
  std::vector<double> widths, lengths, q1, q2;
  for (const Star& s : list.stars)
    if (s.flags.usable() && !s.flags.saturated && !s.flags.fit_failed && s.snr > 12.0) {
      widths.push_back(s.fwhm_px);
      lengths.push_back(std::hypot(s.trail_x_px, s.trail_y_px));
      q1.push_back(s.trail_q1_px2);
      q2.push_back(s.trail_q2_px2);
    }
  list.fwhm_px = median_or(widths, kFwhmPerSigma * profile.sigma_px);
  list.trail_px = median_or(lengths, 0.0);
  // Error of a median from the median deviation: 1.2533 (a median's loss against a mean) · 1.4826 (to a normal's σ) /
  // √n.
  std::vector<double> off;
  for (const double length : lengths) off.push_back(std::abs(length - list.trail_px));
  const auto n = static_cast<double>(std::max<std::size_t>(1, off.size()));
  list.trail_sigma_px = 1.2533 * 1.4826 * median_or(std::move(off), 0.0) / std::sqrt(n);
  list.trail_angle_deg = 90.0 / M_PI * std::atan2(median_or(q2, 0.0), median_or(q1, 0.0));
}

}  // namespace

Result<StarList> find_stars(const Frame& frame, const StarOptions& options) {
  if (Status wrong = options.validate()) {
    wrong->file = frame.path.string();
    return *wrong;
  }
  StarList list;
  list.width = frame.width;
  list.height = frame.height;
  if (frame.width < 16 || frame.height < 16 || frame.pixels.empty()) {
    list.flags.emplace_back("no stars");
    return list;
  }
  const BackgroundMap background = BackgroundMap::measure(frame, options.threads);
  list.sky_level = background.median_level();
  list.sky_noise = background.median_noise();
  FoundImages found = find_images(frame, background, options);
  list.stars = std::move(found.stars);
  FrameProfile profile;
  profile.sigma_px = without_pixel(found.size.sigma_across_px);
  if (found.trailed) profile.motion = found.trailed->field;
  // A list that has to be cut is one of stars.
  if (list.stars.size() > static_cast<std::size_t>(options.max_stars))
    std::erase_if(list.stars, [](const Star& s) { return s.flags.hot_pixel; });
  const auto brighter = [](const Star& a, const Star& b) { return a.flux > b.flux; };
  std::stable_sort(list.stars.begin(), list.stars.end(), brighter);
  if (list.stars.size() > static_cast<std::size_t>(options.max_stars))
    list.stars.resize(static_cast<std::size_t>(options.max_stars));
  const std::vector<Star> before = list.stars;
  fit_stars(frame, background, options, profile, list.stars);
  take_back_runaways(before, profile, list.stars);
  if (!found.trailed) list.stars = without_repeats(list.stars, profile.sigma_px);
  std::stable_sort(list.stars.begin(), list.stars.end(), brighter);
  flag_doubtful(frame, background, profile, options.threads, list.stars);
  summarise(profile, list);
  list.flags = frame_flags(frame, background, list);
  list.trail_field = fit_trail_field(list, options.focal_px, profile.motion);
  return list;
}

}  // namespace polewright
