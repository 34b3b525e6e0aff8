// How far a candidate stands out of the sky around it, whatever the map says.
#pragma once

#include <vector>

#include "polewright/frame.hpp"
#include "stars/background.hpp"
#include "stars/surroundings.hpp"

namespace polewright {

/// Matched-filter significance against the ring's level and noise instead of the map's: glow, cloud rims and skylines
/// are steeper than a map of tiles can follow.
class LocalSky {
 public:
  /// `kernel_px`: width of the Gaussian that the stars are looked for with; `star_px`: of their images.
  LocalSky(const Frame& frame, const BackgroundMap& background, double kernel_px, double star_px);

  struct Judged {
    Surroundings sky;
    double significance = 0.0;
    double over_ring = 0.0;  ///< significance above the ring's mean level, where it holds more than one sky
  };
  [[nodiscard]] Judged judge(int x, int y) const;

  /// True for an image as narrow as the interpolation of colours makes of a single hot pixel, where the frame's stars
  /// are wider. Only frames with interpolated colours are looked at; faint images are told by comparing filters.
  [[nodiscard]] bool is_interpolated_pixel(int x, int y, const Surroundings& sky) const;

  /// Noise of the filtered frame over what independent pixels would give; 1 unless clearly more. Interpolated colours,
  /// JPEG, resampling and stacking tie neighbouring pixels together, and every maximum then looks too significant.
  [[nodiscard]] double excess_noise() const { return excess_noise_; }

 private:
  [[nodiscard]] double filtered(int x, int y, const std::vector<float>& taps, const ClassValues& level,
                                const ClassValues& noise) const;
  [[nodiscard]] double measure_excess() const;

  const Frame& frame_;
  const BackgroundMap& background_;
  Ring ring_;
  std::vector<float> taps_;
  std::vector<float> hat_;  ///< what interpolation makes of one pixel; empty when it cannot be told from a star
  double hat_of_star_ = 1.0, hat_of_hat_ = 1.0;  ///< the hat's response to both, over the kernel's
  double light_ = 1.0;                           ///< response of the kernel to an even sky of one unit of noise
  double level_noise_ = 1.0, excess_noise_ = 1.0;
};

}  // namespace polewright
