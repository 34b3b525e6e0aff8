// mount: from identified frames to the mount's axis and rate, with covariance. Conventions: DEVELOPERS.md, "Frames and
// signs". One estimator serves any turn, from a minute of tracking to an axis swung by hand.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "polewright/identify.hpp"
#include "polewright/lens.hpp"
#include "polewright/site.hpp"
#include "polewright/sky.hpp"
#include "polewright/time.hpp"

namespace polewright {

/// One identified star as the mount fit uses it.
struct MountStar {
  PixelPoint measured;
  Covariance2 measured_cov;                  ///< px²
  Vec<Icrs> direction;                       ///< at the frame's date
  std::uint32_t catalogue = kNotInCatalogue;
};

/// One identified frame.
struct MountFrame {
  std::string name;
  UtcTime mid_time;
  double mid_time_sigma_s = 0.0;
  double exposure_s = 0.0;
  int width_px = 0, height_px = 0;
  Rotation<Camera, Icrs> camera_from_icrs;   ///< start value
  LensModel lens;                            ///< start value; the fit shares one lens over all frames
  std::vector<MountStar> stars;
};

struct MountProblem {
  Site site;
  Weather weather;
  ReferencePole reference_pole = ReferencePole::refracted;
  std::vector<MountFrame> frames;            ///< in order of time
  double clock_sigma_s = 60.0;               ///< 1σ of the camera clock against UTC, common to all frames
  Angle site_sigma = Angle::deg(0.02);       ///< 1σ of latitude and longitude
};

struct MountOptions {
  double robust_scale = 2.5;                 ///< Cauchy loss beyond this many sigmas
  /// Star model error common to all frames (distortion left over, catalogue place), 1σ px; estimated when absent.
  std::optional<double> common_model_error_px;
  /// Smallest useful answer: with a total axis sigma above this the axis is called not observable.
  Angle largest_useful_sigma = Angle::deg(2.0);
  int threads = 0;
};

enum class MountOutcome { solved, axis_not_observable, inconsistent };

enum class RateMatch { sidereal, solar, lunar, half, stopped, reversed, other };

/// Per frame: what the fit made of it.
struct MountFrameFit {
  Rotation<Camera, Enu> camera_from_enu;     ///< at mid-exposure
  Angle turn;                                ///< about the axis since the first frame of its group, along tracking
  double residual_rms_px = 0.0;
  int stars_used = 0;
  int group = 0;                             ///< frames of one group share the camera's place on the head
  bool set_aside = false;
  std::string reason;                        ///< why set aside
};

struct MountSolution {
  MountOutcome outcome = MountOutcome::axis_not_observable;
  std::string message;                       ///< one sentence for people; what to shoot when not solved

  // Valid when solved:
  Vec<Enu> axis;                             ///< unit vector, on the side of the visible pole
  Vec<Enu> pole;                             ///< the reference pole
  Angle altitude_error;                      ///< positive: axis too high
  Angle azimuth_error;                       ///< turn of the base, positive: axis too far east, both hemispheres
  Angle azimuth_error_on_sky;                ///< times cos(altitude of the axis)
  Angle total_error;                         ///< great circle between axis and pole
  Covariance2 on_sky_cov_arcmin2;            ///< (altitude, azimuth on the sky)
  Angle altitude_sigma, azimuth_sigma, azimuth_on_sky_sigma, total_sigma;

  // Valid when solved or when the camera did not turn (outcome axis_not_observable with rate about 0):
  std::optional<double> rate_ratio;          ///< of sidereal; negative when reversed
  double rate_sigma = 0.0;
  RateMatch rate_match = RateMatch::other;

  LensModel lens;
  std::vector<MountFrameFit> frames;         ///< same order as MountProblem::frames
  double residual_rms_px = 0.0;
  std::vector<std::string> cautions;         ///< what the answer cannot tell (ball-head sag with one pointing, …)
};

/// Fits the axis. Not observable and inconsistent are outcomes with a message, not errors.
[[nodiscard]] MountSolution solve_mount(const MountProblem& problem, const MountOptions& options = {});

[[nodiscard]] const char* to_text(RateMatch match);

}  // namespace polewright
