// diagnose: why stars trail. Steady causes from a fitted mount, and a night's frames judged one by one and together.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "polewright/mount.hpp"

namespace polewright {

/// One reason for trails and how much of them it explains.
struct TrailCause {
  std::string cause;   ///< one of the fixed words listed in DEVELOPERS.md, "Causes"
  double share = 0.0;  ///< of the trail, 0–1
  double trail_px_per_min = 0.0;
  std::string evidence;
};

/// The steady causes a fitted mount shows: axis misalignment and tracking rate (stopped and reversed included), largest
/// first. Causes that would trail a star by less than `least_px_per_min` anywhere on the last frame are left out.
[[nodiscard]] std::vector<TrailCause> steady_causes(const MountSolution& mount, const MountProblem& problem,
                                                    double least_px_per_min = 0.02);

// ---- a night's frames -----------------------------------------------------------------------------------------------

/// What a frame is good for. `soft`: stars larger than they were at their best by more than the tolerance.
enum class Verdict { sharp, soft, trailed, unusable };
[[nodiscard]] const char* to_text(Verdict verdict);

/// Motion of the stars during one exposure as the frame's own pixels show it.
struct MeasuredTrail {
  double x_px = 0.0, y_px = 0.0;                ///< at the frame's centre; the sign of the pair is arbitrary
  Covariance2 cov;                              ///< px²
  double twist_px = 0.0;                        ///< size of the field's turn, at the frame's corner
  double worst_px = 0.0, worst_sigma_px = 0.0;  ///< largest anywhere on the frame
};

/// How far the star field has moved on the frame since the first frame of its sequence: the motion at the frame's
/// centre summed along the path, so that a steady turn of the camera gives a straight line in time at any size.
struct FieldPlace {
  double x_px = 0.0, y_px = 0.0;
  double roll_rad = 0.0;  ///< from +x towards +y
  double sigma_px = 0.0;  ///< 1σ per axis
  double roll_sigma_rad = 0.0;
};

/// What was measured in one frame of a sequence (one camera, one exposure, one pointing). Unknown stays absent.
struct NightFrame {
  std::optional<double> time_s;  ///< middle of the exposure, since the sequence's first frame
  double exposure_s = 0.0;
  int stars = 0;  ///< usable detections
  double sky_adu = 0.0;
  std::optional<double> fwhm_px;      ///< across the trail
  std::optional<double> dimming_mag;  ///< stars in common fainter than on the sequence's reference frame
  std::optional<MeasuredTrail> trail;
  std::optional<FieldPlace> place;
  std::optional<double> aberration_px;  ///< elongation by the optics at the corner, as an equivalent trail
  std::optional<double> tilt_px;        ///< growth of the star width from one edge to the other, FWHM
  double tilt_sigma_px = 0.0;
  std::optional<double> temperature_c;
  bool spoiled = false;  ///< no star picture at all: daylight, black, cap on
};

/// What all frames of the sequence share.
struct NightField {
  int width_px = 0, height_px = 0;
  std::optional<double> focal_px;
  /// Direction of the visible celestial pole in camera axes and the sign of the sky's turn, when stars were identified.
  std::optional<Vec<Camera>> pole;
  double hemisphere = 1.0;
  bool mirrored = false;
  /// What a full fit of the mount said (refraction and all), when there was one; it then stands in the evidence.
  std::optional<Angle> axis_offset, axis_sigma;
  std::optional<double> rate_ratio, rate_sigma;
};

struct NightOptions {
  double tolerance_px = 1.0;  ///< trail or growth in width a person accepts
  /// A cause is named only when its trail reaches this share of the tolerance on some frame; below, nobody sees it.
  double least_share_of_tolerance = 0.5;
  /// Bayesian information criterion a further component must gain; 10 is "very strong" on the usual scale (Kass and
  /// Raftery 1995). Lower names more causes and invents some.
  double least_bic_gain = 10.0;
  double least_sigma = 4.0;  ///< of a single frame's departure before it means anything
  /// Share of the expected stars, or of their light, below which a frame counts as lost; a convention, half.
  double lost_stars = 0.5;
  double least_period_s = 20.0, longest_period_s = 3600.0;  ///< worms of small trackers turn in 2 to 15 minutes
  int most_steps = 12;

  /// Nothing when usable; else the value found and the constraint. Error: option_invalid.
  [[nodiscard]] Status validate() const;
};

/// What is said about one frame.
struct FrameFinding {
  Verdict verdict = Verdict::unusable;
  std::optional<std::string> cause;  ///< fixed word; absent when sharp, or when the frame tells nothing
  std::string why;                   ///< one sentence; empty when sharp
  std::optional<double> trail_px, trail_sigma_px, trail_angle_deg;  ///< worst over the frame
  bool trail_from_sequence = false;  ///< own pixels too weak; from the motion between frames
  double expected_trail_px = 0.0;    ///< what the sequence's motion model says for this exposure
};

/// Motion that goes on evenly through the sequence, at its middle.
struct SteadyDrift {
  double x_px_per_min = 0.0, y_px_per_min = 0.0, roll_arcmin_per_min = 0.0;
  double centre_px_per_min = 0.0, centre_sigma_px_per_min = 0.0;
  double worst_px_per_min = 0.0;
  /// With the scale known: the camera's turn relative to the stars over the sky's own.
  std::optional<double> turn_ratio, turn_ratio_sigma;
  /// With the pole known too (refraction left aside): the mount's rate and how far its axis is from the pole.
  std::optional<double> rate_ratio, rate_sigma;
  std::optional<Angle> axis_offset, axis_offset_sigma;
  double axis_px_per_min = 0.0, rate_px_per_min = 0.0;  ///< their parts of the worst motion
};

struct PeriodicTerm {
  double period_s = 0.0, period_sigma_s = 0.0;
  double amplitude_px = 0.0, amplitude_sigma_px = 0.0;             ///< half of the swing, at the frame's centre
  std::optional<double> amplitude_arcsec, amplitude_sigma_arcsec;  ///< on the mount's axis when the pole is known
  double phase_rad = 0.0;     ///< sin(2π t/period + phase), t from the sequence's first frame
  double significance = 0.0;  ///< amplitude over its sigma
  double false_alarm = 1.0;   ///< chance that noise alone gives as much at any period looked at
  double cycles = 0.0;        ///< seen in the sequence
};

enum class StepKind { slip, re_aimed };
struct NightStep {
  std::size_t after_frame = 0;  ///< index of the last frame before it
  double x_px = 0.0, y_px = 0.0, roll_arcmin = 0.0;
  double sigma_px = 0.0;
  StepKind kind = StepKind::slip;
};

struct Settling {
  double x_px = 0.0, y_px = 0.0, roll_arcmin = 0.0;  ///< whole way
  double decay_s = 0.0;
};

/// A reason for frames that are not sharp, over the sequence.
struct NightCause {
  std::string cause;       ///< fixed word
  double share = 0.0;      ///< of what spoils the frames, 0–1
  double trail_px = 0.0;   ///< on the frame where it is largest (growth in width for soft frames)
  std::size_t frames = 0;  ///< not sharp because of it
  double bic_gain = 0.0;   ///< how much worse the account is without it; 0 for causes outside the fit
  std::string evidence;
};

struct NightDiagnosis {
  std::vector<FrameFinding> frames;  ///< same order as the input
  std::optional<SteadyDrift> drift;
  std::vector<PeriodicTerm> periodic;  ///< strongest first; later ones are harmonics or further worms
  std::vector<NightStep> steps;
  std::optional<Settling> settling;
  double wander_px = 0.0;                 ///< rms of what the motion model leaves, per axis
  std::vector<NightCause> causes;         ///< largest share first
  /// Exposure up to which axis, rate and worm together stay within the tolerance at every moment; absent when there is
  /// no such motion. Gusts and slips do not count: no exposure is short enough for those.
  std::optional<double> longest_sharp_s;
  std::optional<double> saved_by_longest;  ///< share of the trailed frames that such exposures would have kept sharp
  std::optional<double> saved_by_half;     ///< the same for half the exposure
  std::vector<std::string> notes;         ///< what could not be told, and why
};

/// Judges the frames of one sequence and tells why they are not sharp. Pure: same input, same answer.
/// Frames must be ordered by time. Never names a cause that the figures do not force.
[[nodiscard]] NightDiagnosis diagnose_night(const std::vector<NightFrame>& frames, const NightField& field,
                                            const NightOptions& options = {});

}  // namespace polewright
