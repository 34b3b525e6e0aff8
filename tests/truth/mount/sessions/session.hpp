// Synthetic sessions for the mount stage: star lists of a camera on a turning axis, with every truth known. Places are
// computed with ERFA directly and the camera is a pinhole of its own, so that nothing here shares code with the
// library.
#pragma once

#include <cstdint>
#include <random>
#include <vector>

#include "polewright/mount.hpp"

namespace polewright::test {

/// One frame as shot.
struct ShotFrame {
  double time_s = 0.0;  ///< true, since the session's start
  Angle swing{};        ///< by hand since the session's start, in the sense of tracking
  int pointing = 0;
  Angle bump_right{}, bump_up{};  ///< camera knocked on its head for this frame only
  int axis = 0;                   ///< index into SessionSpec::axes
};

struct AxisError {
  Angle altitude, azimuth;  ///< from the refracted pole: up, and base turn towards east
};

struct Pointing {
  Angle hour_angle, declination, roll;
};

struct SessionSpec {
  Site site{Angle::deg(45.0), Angle::deg(10.0), 300.0};
  CalendarTime start{2026, 11, 25, 20, 0, 0.0};
  double pressure_hpa = 980.0;
  bool refraction = true;
  double focal_mm = 50.0, pitch_um = 3.9;
  int width_px = 6000, height_px = 4000;
  double k1 = 0.0;
  bool mirrored = false;
  std::vector<AxisError> axes{{}};
  double rate_ratio = 1.0;
  std::vector<double> rate_of_frame;  ///< when given: rate ratio in force up to each frame, instead of rate_ratio
  Angle periodic_error;               ///< semi-amplitude
  double period_s = 480.0;
  double periodic_phase = 0.0;  ///< rad at the start
  Angle sag_per_min;            ///< slow turn of the camera on its head about its own x axis
  std::vector<Pointing> pointings{{}};
  std::vector<ShotFrame> frames;
  double exposure_s = 0.0;  ///< above 0: measured places are means over the exposure
};

/// What is wrong with the data.
struct SessionNoise {
  int stars = 200;  ///< per frame
  double star_sigma_px = 0.05;
  double stated_sigma_px = 0.05;
  double common_error_px = 0.0;        ///< per star, same in every frame
  double outlier_share = 0.0;          ///< stars displaced by up to 20 px
  double stamp_sigma_s = 0.0;          ///< scatter of the frames' time stamps
  double clock_offset_s = 0.0;         ///< camera clock minus UTC
  Angle longitude_offset;              ///< believed minus true
  double believed_pressure_hpa = 0.0;  ///< 0: as it is
  bool believed_refraction = true;
  double believed_k1_offset = 0.0;
  Angle start_attitude_error = Angle::arcmin(1.0);
};

struct Session {
  MountProblem problem;
  Vec<Enu> axis;                                       ///< true, of the last frame
  Vec<Enu> pole;                                       ///< refracted pole at the true site
  std::vector<Rotation<Camera, Enu>> camera_from_enu;  ///< true, per frame
  std::vector<double> turns_rad;  ///< true turn of each frame about the axis in the sense of tracking
};

[[nodiscard]] Session make_session(const SessionSpec& spec, const SessionNoise& noise, std::mt19937_64& random);

/// Refracted visible pole by ERFA.
[[nodiscard]] Vec<Enu> true_refracted_pole(const SessionSpec& spec);
/// Direction at hour angle and declination without refraction.
[[nodiscard]] Vec<Enu> enu_of(const Site& site, Angle hour_angle, Angle declination);
/// Attitude with the boresight at `direction`, picture's top towards the zenith for roll 0.
[[nodiscard]] Rotation<Camera, Enu> aimed_at(Vec<Enu> direction, Angle roll);
/// Axis with the given errors from a pole.
[[nodiscard]] Vec<Enu> axis_with_error(Vec<Enu> pole, const Site& site, AxisError error);
/// East part of the azimuth, altitude and total error of the solution against the true axis, on the sky.
struct SkyError {
  Angle altitude, azimuth_on_sky;
};
[[nodiscard]] SkyError error_against(const MountSolution& solution, Vec<Enu> true_axis, const Site& site);

}  // namespace polewright::test
