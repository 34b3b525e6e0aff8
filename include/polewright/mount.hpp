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
  Covariance2 measured_cov;  ///< px²
  Vec<Icrs> direction;       ///< at the frame's date
  std::uint32_t catalogue = kNotInCatalogue;
};

/// What one trailed frame says about its own motion; see TrailField.
struct FrameTrail {
  Vec<Camera> rotation;                  ///< camera relative to the stars during the exposure, rad, sign unknown
  std::array<double, 9> rotation_cov{};  ///< rad², row-major
};

/// One identified frame.
struct MountFrame {
  std::string name;
  UtcTime mid_time;
  double mid_time_sigma_s = 0.0;
  double exposure_s = 0.0;
  int width_px = 0, height_px = 0;
  Rotation<Camera, Icrs> camera_from_icrs;  ///< start value
  LensModel lens;                           ///< start value; the fit shares one lens over all frames
  std::vector<MountStar> stars;
  std::optional<FrameTrail> trail;  ///< when the trails of this frame were measured
};

struct MountProblem {
  Site site;
  Weather weather;
  ReferencePole reference_pole = ReferencePole::refracted;
  std::vector<MountFrame> frames;       ///< in order of time
  double clock_sigma_s = 60.0;          ///< 1σ of the camera clock against UTC, common to all frames
  Angle site_sigma = Angle::deg(0.02);  ///< 1σ of latitude and longitude
  /// Frames before which the axis is known to have been adjusted; an adjustment nobody mentions is looked for as well.
  std::vector<std::size_t> adjusted_before;
};

struct MountOptions {
  double robust_scale = 2.5;  ///< Cauchy loss beyond this many sigmas
  /// Star model error common to all frames (distortion left over, catalogue place), 1σ px; estimated when absent.
  std::optional<double> common_model_error_px;
  /// Smallest useful answer: with a total axis sigma above this the axis is called not observable.
  Angle largest_useful_sigma = Angle::deg(2.0);
  /// Attitude scatter beyond the stars' own noise (wind, play) up to which frames still make one answer, 1σ per axis.
  Angle largest_wobble = Angle::arcmin(1.0);
  /// 1σ of the turn from frame to frame about a steady rate: periodic error and play of small trackers.
  Angle turn_noise = Angle::arcsec(30.0);
  int threads = 0;

  /// Nothing when usable; else the value found and the constraint. Error: option_invalid.
  [[nodiscard]] Status validate() const;
};

enum class MountOutcome { solved, axis_not_observable, inconsistent };

enum class RateMatch { sidereal, solar, lunar, half, stopped, reversed, other };

/// Per frame: what the fit made of it.
struct MountFrameFit {
  Rotation<Camera, Enu> camera_from_enu;  ///< at mid-exposure
  Angle turn;                             ///< about the axis since the first frame of its group, along tracking
  double residual_rms_px = 0.0;
  int stars_used = 0;
  int group = 0;  ///< frames of one group share the camera's place on the head
  bool set_aside = false;
  std::string reason;                       ///< why set aside
  int axis_epoch = 0;                       ///< counts the adjustments of the axis seen before this frame
  bool swung = false;                       ///< the axis was turned by hand before this frame
  std::optional<Angle> axis_shift_without;  ///< how far the axis moves when this frame is left out; where defined
};

/// An adjustment of the axis between two frames, and what it did.
struct AxisChange {
  std::size_t before_frame = 0;  ///< first frame after it
  Vec<Enu> axis_before, axis_after;
  Angle altitude_change;  ///< positive: raised
  Angle azimuth_change;   ///< turn of the base, positive: towards east
  Angle altitude_sigma, azimuth_sigma;
};

/// Slow turning of the camera on its head, told from an axis error by several pointings.
struct HeadSag {
  Angle axis_scatter;  ///< scatter of the axis from pointing to pointing beyond noise, per axis
  Angle axis_scatter_sigma;
  double arcsec_per_min = 0.0;  ///< the same as a rate of turn
};

struct MountSolution {
  MountOutcome outcome = MountOutcome::axis_not_observable;
  std::string message;  ///< one sentence for people; what to shoot when not solved

  // Valid when solved:
  Vec<Enu> axis;                   ///< unit vector, on the side of the visible pole
  Vec<Enu> pole;                   ///< the reference pole
  Angle altitude_error;            ///< positive: axis too high
  Angle azimuth_error;             ///< turn of the base, positive: axis too far east, both hemispheres
  Angle azimuth_error_on_sky;      ///< times cos(altitude of the axis)
  Angle total_error;               ///< great circle between axis and pole
  Covariance2 on_sky_cov_arcmin2;  ///< (altitude, azimuth on the sky)
  Angle altitude_sigma, azimuth_sigma, azimuth_on_sky_sigma, total_sigma;

  // Valid when solved or when the camera did not turn (outcome axis_not_observable with rate about 0):
  std::optional<double> rate_ratio;  ///< of sidereal; negative when reversed
  double rate_sigma = 0.0;
  RateMatch rate_match = RateMatch::other;

  LensModel lens;
  std::vector<MountFrameFit> frames;  ///< same order as MountProblem::frames
  double residual_rms_px = 0.0;
  std::vector<std::string> cautions;  ///< what the answer cannot tell (ball-head sag with one pointing, …)

  double star_noise_scale = 1.0;        ///< scatter of the stars over their stated sigmas
  double common_model_error_px = 0.0;   ///< per-star model error shared by frames, 1σ per axis
  Angle wobble;                         ///< attitude scatter beyond star noise that was allowed for, 1σ per axis
  std::optional<Angle> turn_scatter;    ///< rms of the turn about a steady rate; from four tracked frames up
  std::vector<AxisChange> adjustments;  ///< `axis` is the one after the last
  std::optional<HeadSag> head_sag;      ///< with two pointings or more
};

/// Fits the axis. Not observable and inconsistent are outcomes with a message, not errors.
[[nodiscard]] MountSolution solve_mount(const MountProblem& problem, const MountOptions& options = {});

[[nodiscard]] const char* to_text(RateMatch match);

/// A frame somebody means to shoot.
struct PlannedFrame {
  double time_s = 0.0;  ///< since the start of the session
  Angle swing;          ///< axis turned by hand since the first frame of its group, beyond tracking
  int group = 0;        ///< pointing on the ball head
};
struct PlannedPointing {
  Vec<Enu> boresight;  ///< at the group's first frame
  Angle roll;          ///< of the camera about it; 0: picture's top towards the zenith
};
struct PlannedSession {
  Site site;
  LensModel lens;
  int width_px = 0, height_px = 0;
  int stars = 200;              ///< per frame, spread evenly
  double star_sigma_px = 0.05;  ///< 1σ per axis
  double rate_ratio = 1.0;
  Angle wobble;                            ///< attitude scatter to allow for, 1σ per axis
  double interval_sigma_s = 0.0;           ///< 1σ of each frame's time
  std::vector<PlannedPointing> pointings;  ///< one per group
  std::vector<PlannedFrame> frames;
};
struct ExpectedAxis {
  bool observable = false;
  Covariance2 on_sky_cov_arcmin2;  ///< (altitude, azimuth on the sky); meaningless when not observable
  Angle total_sigma;
};
/// Covariance of the axis that a planned session would give, from the same linear model as the fit.
[[nodiscard]] ExpectedAxis expected_axis(const PlannedSession& session);

/// What to shoot after these frames, with the camera where it is, to know the axis to `wanted` (1σ, total).
struct NextShot {
  Angle expected_now;            ///< total sigma of what was shot; 0 when not observable
  std::optional<double> wait_s;  ///< one more frame this long after the last; nothing beyond two hours
  std::optional<Angle> swing;    ///< or one more frame after turning the axis this far, 5 to 90°
};
[[nodiscard]] NextShot plan_next(const MountProblem& problem, const MountSolution& solution, Angle wanted);

}  // namespace polewright
