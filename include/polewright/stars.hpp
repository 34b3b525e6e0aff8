// StarList: what the pixels say about the stars in one frame. Doubtful detections are flagged and kept.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "polewright/frame.hpp"
#include "polewright/geometry.hpp"
#include "polewright/result.hpp"

namespace polewright {

/// Why a detection should not be trusted as a single clean star.
struct StarFlags {
  bool saturated = false;     ///< pixels at the white level; centroid from the wings
  bool blended = false;       ///< a neighbour within reach changes the centroid
  bool edge = false;          ///< cut by the frame's edge or by blank pixels
  bool hot_pixel = false;     ///< sharper than any star in this frame can be
  bool cosmic_ray = false;    ///< sharp, elongated, unlike the frame's star shape
  bool streak = false;        ///< aircraft or satellite
  bool foreground = false;    ///< lamp, window or silhouette edge on the ground
  bool column = false;        ///< part of a warm column or row
  bool too_large = false;     ///< glow or nebula, not a point
  bool fit_failed = false;    ///< position from moments, not from a fit

  /// May take part in identification and measurement (saturated and fit_failed ones may).
  [[nodiscard]] bool usable() const {
    return !(hot_pixel || cosmic_ray || streak || foreground || column || too_large || edge);
  }
};

/// One detection. Positions and lengths in pixels, fluxes and levels in the file's sample units above background.
struct Star {
  PixelPoint position;           ///< middle of the trail for a trailed star
  Covariance2 position_cov;      ///< px²
  double flux = 0.0, flux_sigma = 0.0;
  double peak = 0.0;             ///< highest sample above background
  double background = 0.0;       ///< local sky level
  double snr = 0.0;              ///< detection significance after matched filtering
  Covariance2 moments;           ///< second moments of the image, the pixel's 1/12 included, px²
  double fwhm_px = 0.0;          ///< of the fitted profile across the trail
  /// Trail as a vector from its middle to its end, doubled (so its length is the trail's), sign arbitrary (x ≥ 0).
  double trail_x_px = 0.0, trail_y_px = 0.0;
  Covariance2 trail_cov;         ///< px²
  /// The trail squared as a complex number, (tx² − ty², 2·tx·ty): the form without a sign to guess, regular and with
  /// normal errors at zero length too. Averages and fits over stars belong here.
  double trail_q1_px2 = 0.0, trail_q2_px2 = 0.0;
  Covariance2 trail_q_cov;       ///< px⁴
  StarFlags flags;
};

/// One frame's star images as a whole: motion during the exposure and the optics' own shape, told apart by a joint fit.
struct TrailField {
  /// Rotation of the camera relative to the stars during the exposure (small-angle vector, rad, camera axes),
  /// known up to a common sign. Needs focal_px; absent when no scale was given.
  std::optional<Vec<Camera>> rotation;
  std::array<double, 9> rotation_cov{};  ///< rad², row-major
  double centre_trail_x_px = 0.0, centre_trail_y_px = 0.0;  ///< motion at the frame centre, sign arbitrary
  Covariance2 centre_trail_cov;
  double twist_px_at_corner = 0.0;       ///< size of the rotation about the optical axis, at the frame's corner
  double worst_trail_px = 0.0, worst_trail_sigma_px = 0.0;
  double aberration_px = 0.0;            ///< elongation of the optics at the frame's corner, as an equivalent trail
  double significance = 0.0;             ///< χ² improvement of motion over no motion, per its degrees of freedom
};

struct StarList {
  int width = 0, height = 0;
  std::vector<Star> stars;       ///< brightest first
  double sky_level = 0.0;        ///< median background, sample units
  double sky_noise = 0.0;        ///< median per-pixel noise, sample units
  double psf_sigma_px = 0.0;     ///< typical Gaussian width across the trail
  double fwhm_px = 0.0;          ///< median
  double trail_px = 0.0, trail_sigma_px = 0.0;  ///< typical trail length over the frame
  double trail_angle_deg = 0.0;  ///< of the trail, from +x towards +y, in (−90, 90]
  TrailField trail_field;
  /// About the frame, none or several of these ("few" is fewer than five usable stars; levels are above the black level
  /// that the file states, as shares of the range up to the white level):
  ///   "daylight"  the sky is above nine tenths of the range, or above a quarter of it with few stars
  ///   "black"     few stars, and the sky less than one pixel's noise above black: a lens cap, a closed shutter
  ///   "clouded"   neither of these, a frame of a megapixel or more, and few stars, or hardly any in a seventh of the sky's
  ///               area where other parts have plenty; silhouettes of the ground are no sky
  ///   "jpeg"      a lossy file: 8×8 blocks, a tone curve, interpolated colours; photometry is not linear
  ///   "no stars"  nothing was detected, not even something doubtful
  std::vector<std::string> flags;
};

struct StarOptions {
  double threshold_sigma = 5.0;   ///< matched-filter significance; 5 keeps false detections below 1 per megapixel
  int max_stars = 30000;          ///< brightest kept
  int max_fitted = 4000;          ///< brightest unsaturated that get a profile fit; the rest keep windowed centroids
  int max_saturated_fitted = 500; ///< brightest saturated that do, through their wings, at ten times the cost
  /// A coarse look, in sums of 2×2 pixels and at a third of the cost, is enough when it shows this many stars clearly:
  /// they are the brightest, and only faint ones are missing. 0: always look pixel by pixel.
  int enough_stars = 0;
  std::optional<double> focal_px; ///< lets the trail field speak in angles
  int threads = 0;                ///< 0: all

  /// Limits: threshold 3 to 1000 σ, max_stars at least 1, fits, enough_stars and threads not negative, focal_px positive.
  [[nodiscard]] Status validate() const;
};

/// Finds and measures the stars of a frame. Never fails on pixel content: a frame without stars gives an empty list
/// with a frame flag saying why. Errors: option_invalid.
[[nodiscard]] Result<StarList> find_stars(const Frame& frame, const StarOptions& options = {});

}  // namespace polewright
