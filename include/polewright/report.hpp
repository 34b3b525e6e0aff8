// report: results -> text, JSON, CSV. No computation happens here; a report is told everything it says.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "polewright/advise.hpp"
#include "polewright/diagnose.hpp"
#include "polewright/evidence.hpp"
#include "polewright/frame.hpp"
#include "polewright/identify.hpp"
#include "polewright/mount.hpp"
#include "polewright/result.hpp"
#include "polewright/stars.hpp"

namespace polewright {

enum class AlignOutcome { solved, axis_not_observable, not_identified, too_few_stars, inconsistent };

/// One frame as `align` and `inspect` tell it.
struct FrameReport {
  std::string file;
  std::optional<UtcTime> mid_time;
  std::string time_source;
  std::optional<double> exposure_s;
  int width_px = 0, height_px = 0;
  int stars_detected = 0, stars_identified = 0;
  std::optional<double> centre_ra_deg, centre_dec_deg, centre_altitude_deg, centre_azimuth_deg;
  std::optional<double> roll_deg;  ///< position angle of the picture's up (row 0) at the centre, north through east
  std::optional<double> residual_rms_px;
  std::optional<double> fwhm_px;
  std::optional<double> trail_px, trail_sigma_px, trail_angle_deg;
  std::vector<std::string> flags;
};

struct OpticsReport {
  std::optional<double> focal_px, focal_mm, pitch_um, scale_arcsec_per_px;
  std::optional<bool> mirrored;
  std::optional<double> k1, k2;
};

struct SiteReport {
  Site site;
  std::string source;
};

/// Everything `polewright align` answers.
struct AlignReport {
  AlignOutcome outcome = AlignOutcome::not_identified;
  std::string message;
  std::optional<SiteReport> site;
  OpticsReport optics;
  std::vector<FrameReport> frames;
  std::optional<MountSolution> mount;  ///< what the fit said; its axis is reported only when outcome is solved
  ReferencePole reference_pole = ReferencePole::refracted;
  std::optional<FieldDrift> drift;
  std::optional<AxisCorrection> correction;
  std::optional<StarTarget> star_target;
  std::optional<ExposureAdvice> exposure;
  std::vector<TrailCause> causes;
  std::vector<std::string> warnings;
  std::optional<AlignEvidence> evidence;  ///< for the page and the overlay, when asked for; not in the JSON
};

/// What `polewright inspect` answers.
struct InspectReport {
  FrameReport frame;
  FrameMetadata metadata;
  FileKind kind{};
  Mosaic mosaic;
  double black_level = 0.0, white_level = 0.0;  ///< black: mean over the pattern
  double sky_level = 0.0, sky_noise = 0.0;
  OpticsReport optics;
  std::string identification;  ///< "identified" or why not
  std::vector<std::string> warnings;
  std::optional<FrameView> view;  ///< for the page and the overlay, when asked for; not in the JSON
};

struct TextStyle {
  bool colour = false;  ///< ANSI emphasis for a terminal
};

[[nodiscard]] const char* to_text(AlignOutcome outcome);

/// JSON text, schema "polewright/align/1", as in the schema file src/report/schema/align-1.json.
[[nodiscard]] std::string align_json(const AlignReport& report);
[[nodiscard]] std::string inspect_json(const InspectReport& report);
/// For people: the instruction first, then whether it is good enough, then what it rests on.
[[nodiscard]] std::string align_text(const AlignReport& report, const TextStyle& style = {});
[[nodiscard]] std::string inspect_text(const InspectReport& report, const TextStyle& style = {});

/// Writes `text` whole or not at all: to a temporary name beside `path`, then renamed. "-" is not handled here.
/// Errors: write_failed.
[[nodiscard]] Status write_whole(const std::string& path, const std::string& text);

/// Name and version of this program, for the reports.
[[nodiscard]] const char* program_version();

}  // namespace polewright
