// What `polewright check` answers, and its forms: text, JSON, CSV. Owned by the report stage; no computation.
#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "polewright/advise.hpp"
#include "polewright/diagnose.hpp"
#include "polewright/report.hpp"

namespace polewright {

/// One frame of the night.
struct CheckFrame {
  std::string file;
  std::vector<std::string> companions;  ///< other files of the same exposure (the JPEG beside a raw)
  std::size_t sequence = 0;             ///< index into CheckReport::sequences; meaningless when unreadable
  bool readable = true;
  std::optional<UtcTime> mid_time;    ///< UTC when the zone is known
  std::optional<UtcTime> clock_time;  ///< as the camera's clock says, zone known or not; orders the frames
  std::optional<double> exposure_s;
  int width_px = 0, height_px = 0;
  FrameFinding finding;  ///< verdict, cause, trail, why
  std::optional<double> trail_arcsec, trail_sigma_arcsec;
  std::optional<double> elongation;  ///< long over short axis of the typical star image
  std::optional<double> fwhm_px;
  int stars = 0;
  std::optional<double> stars_expected;  ///< what the sequence's clear frames show
  std::optional<double> sky_adu;
  std::optional<double> dimming_mag;
  std::optional<double> temperature_c;
  std::optional<FieldPlace> place;  ///< shift and roll against the first frame of its sequence
  std::vector<std::string> flags;
};

/// Frames of one camera, exposure and pointing.
struct CheckSequence {
  std::string camera;
  std::optional<double> exposure_s;
  std::optional<double> centre_ra_deg, centre_dec_deg;
  std::vector<std::size_t> frames;  ///< indices into CheckReport::frames, by time
  OpticsReport optics;
  std::optional<SiteReport> site;
  NightDiagnosis diagnosis;
  std::size_t frames_identified = 0;
  std::optional<MountSolution> mount;  ///< its axis is told only when its outcome is solved
  std::string mount_message;           ///< why there is no axis; empty when there is one
  std::optional<AxisCorrection> correction;
};

/// Everything `polewright check` answers.
struct CheckReport {
  double tolerance_px = 1.0;
  ReferencePole reference_pole = ReferencePole::refracted;
  std::vector<CheckFrame> frames;            ///< by time; files that could not be read stand at the end
  std::vector<CheckSequence> sequences;      ///< the one with most frames first
  std::size_t measured = 0, remembered = 0;  ///< frames measured in this run, and taken from the cache
  std::vector<std::string> warnings;
  std::optional<CheckEvidence> evidence;     ///< for the page, when asked for; not in the JSON

  [[nodiscard]] std::size_t count(Verdict verdict) const {
    std::size_t n = 0;
    for (const CheckFrame& f : frames) n += f.finding.verdict == verdict ? 1 : 0;
    return n;
  }
};

/// JSON text, schema "polewright/check/1", as in src/report/schema/check-1.json.
[[nodiscard]] std::string check_json(const CheckReport& report);
/// One line per frame by time, RFC 4180, header line first.
[[nodiscard]] std::string check_csv(const CheckReport& report);

struct CheckTextOptions {
  TextStyle style;
  std::size_t most_frames = 40;  ///< lines of the table; the rest is counted. 0: all
};
/// For people: what spoiled the night and what to do, then the frames, worst first, then by time.
[[nodiscard]] std::string check_text(const CheckReport& report, const CheckTextOptions& options = {});

}  // namespace polewright
