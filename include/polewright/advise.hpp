// advise: what to turn, whether it is good enough, how long to expose.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "polewright/mount.hpp"

namespace polewright {

/// The adjusting base, when the config describes it; absent values leave the matching figure out.
struct BaseGeometry {
  std::optional<double> rim_radius_mm;  ///< of the turning base, for millimetres along its rim
  std::optional<double> altitude_per_screw_turn_deg;
  std::optional<double> azimuth_per_screw_turn_deg;
};

enum class AltitudeTurn { raise, lower };
enum class AzimuthTurn { east, west };

struct AxisCorrection {
  AltitudeTurn altitude_turn{};
  Angle altitude;  ///< ≥ 0
  AzimuthTurn azimuth_turn{};
  Angle azimuth_base;           ///< ≥ 0, turn of the base about the vertical
  Angle azimuth_on_sky;         ///< ≥ 0
  bool clockwise_from_above{};  ///< the base's turn seen from above: north over east is clockwise
  bool right_hand{};            ///< towards the right hand of a person behind the mount facing the pole
  std::optional<double> rim_mm;
  std::optional<double> altitude_screw_turns;
  std::optional<double> azimuth_screw_turns;
};

/// A star to move on the live view: now, after the altitude move, and after both moves; camera untouched on its head.
struct StarTarget {
  std::string name;
  PixelPoint now;
  PixelPoint after_altitude;
  PixelPoint after_both;
  std::uint32_t catalogue = kNotInCatalogue;  ///< whose name it is, for the caller to look up
};

/// Apparent motion of the star field at one instant.
struct FieldDrift {
  double north_arcsec_per_min = 0.0;
  double east_arcsec_per_min = 0.0;
  double twist_arcsec_per_min = 0.0;
  double centre_px_per_min = 0.0;
  double worst_px_per_min = 0.0;
};

struct ExposureAdvice {
  double tolerance_px = 1.0;
  std::optional<double> planned_s;
  std::optional<double> planned_trail_px;        ///< worst over the frame, for the planned exposure as things are
  std::optional<double> planned_trail_after_px;  ///< the same after the correction
  std::optional<bool> good_enough;
  std::optional<double> longest_s;        ///< longest exposure within tolerance as things are
  std::optional<double> longest_after_s;  ///< after the correction

  // Shares of the planned trail as things are, each alone, worst over the frame; absent without planned_s.
  std::optional<double> axis_trail_px;
  std::optional<double> rate_trail_px;
  std::optional<double> periodic_trail_px;  ///< when the series was long enough to see unsteady running
  /// Longest exposure that keeps the ground as sharp as the sky is allowed to be; what half rate is for.
  std::optional<double> longest_ground_s;
};

/// Longest exposures are looked for up to this.
inline constexpr double kLongestExposure_s = 3600.0;

/// What to do about a cause that `check` names, in one sentence; empty where there is nothing to advise.
[[nodiscard]] std::string_view remedy_for(std::string_view cause);

/// What to turn so that the axis meets the pole: exact rotations, any size of error. Altitude first, then azimuth.
/// `mount` must be solved.
[[nodiscard]] AxisCorrection correction_for(const MountSolution& mount, const Site& site, const BaseGeometry& base);

/// The base's move that brings the axis to the pole: about the horizontal across the axis, then about the vertical.
struct BaseMove {
  Rotation<Enu, Enu> altitude;
  Rotation<Enu, Enu> azimuth;
};
[[nodiscard]] BaseMove base_move(const MountSolution& mount);

/// Place of the star of `frame` at pixel `now` after the axis has been corrected, in the order altitude, azimuth.
/// `after_both` may lie outside the frame. Nothing when a place is outside the lens's domain.
[[nodiscard]] std::optional<StarTarget> star_target(const MountSolution& mount, const MountProblem& problem,
                                                    std::size_t frame, PixelPoint now);
/// A bright identified star of the last frame whose present and target places are inside the frame, if any.
[[nodiscard]] std::optional<StarTarget> choose_star_target(const MountSolution& mount, const MountProblem& problem);

/// Motion of the stars over the last frame with the axis and rate found.
[[nodiscard]] FieldDrift field_drift(const MountSolution& mount, const MountProblem& problem);

/// Trail and longest exposure over the last frame from the measured motion.
[[nodiscard]] ExposureAdvice exposure_advice(const MountSolution& mount, const MountProblem& problem,
                                             std::optional<double> planned_s, double tolerance_px);

}  // namespace polewright
