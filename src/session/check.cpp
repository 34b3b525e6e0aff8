// A night: inputs -> measured or remembered frames -> sequences -> axis -> diagnosis -> report.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "polewright/night.hpp"
#include "session/night_axis.hpp"
#include "session/night_explain.hpp"
#include "session/page_evidence.hpp"
#include "session/page_pictures.hpp"

namespace polewright {
namespace {

using namespace session;

/// Frames without a star picture; the star stage's words for them.
bool spoiled(const FrameRecord& r) {
  return std::any_of(r.flags.begin(), r.flags.end(),
                     [](const std::string& f) { return f == "daylight" || f == "black"; });
}

NightFrame night_frame(const FrameRecord& r, std::optional<double> time_s) {
  NightFrame f;
  f.time_s = time_s;
  f.exposure_s = r.metadata.exposure_s ? r.metadata.exposure_s->value : 0.0;
  f.stars = r.stars_usable;
  f.sky_adu = r.sky_level;
  f.spoiled = spoiled(r);
  if (r.metadata.sensor_temperature_c) f.temperature_c = r.metadata.sensor_temperature_c->value;
  if (r.metadata.air_temperature_c) f.temperature_c = r.metadata.air_temperature_c->value;
  if (r.stars_usable == 0) return f;
  if (r.fwhm_px > 0.0) f.fwhm_px = r.fwhm_px;
  f.aberration_px = r.field.aberration_px;
  f.tilt_px = r.tilt_px;
  f.tilt_sigma_px = r.tilt_sigma_px;
  if (r.field.worst_trail_sigma_px > 0.0)
    f.trail = MeasuredTrail{r.field.centre_trail_x_px,  r.field.centre_trail_y_px, r.field.centre_trail_cov,
                            r.field.twist_px_at_corner, r.field.worst_trail_px,    r.field.worst_trail_sigma_px};
  if (r.doubled_px) {
    const double length = std::hypot(r.doubled_px->x, r.doubled_px->y);
    // Two images are placed to about a tenth of a pixel; the trail is the way from one to the other.
    f.trail = MeasuredTrail{r.doubled_px->x, r.doubled_px->y, {0.01, 0.0, 0.01}, 0.0, length, 0.1};
  }
  return f;
}

std::vector<NightFrame> night_frames(const NightSequence& s, const std::vector<NightFile>& files,
                                     const SessionOptions& options) {
  std::vector<NightFrame> out;
  std::optional<UtcTime> first;
  for (std::size_t k = 0; k < s.files.size(); ++k) {
    const FrameRecord& r = *files[s.files[k]].record;
    const auto clock = clock_time_of(r, options);
    if (clock && !first) first = clock->time;
    out.push_back(night_frame(r, clock ? std::optional(clock->time.seconds_since(*first)) : std::nullopt));
    out.back().place = s.places[k];
    out.back().dimming_mag = s.dimming_mag[k];
  }
  return out;
}

NightField field_of(const FrameRecord& r, const MeasuredFrame& m, const NightAxis& axis,
                    const SessionOptions& options) {
  NightField field;
  field.width_px = r.width;
  field.height_px = r.height;
  field.focal_px = optics_of(m.frame, options).focal_px();
  if (!field.focal_px && r.metadata.scale_arcsec_per_px)
    field.focal_px = 1.0 / Angle::arcsec(r.metadata.scale_arcsec_per_px->value).rad();
  if (!axis.lens) return field;
  field.focal_px = axis.lens->focal_px;
  field.mirrored = axis.lens->mirrored;
  field.pole = axis.pole;
  field.hemisphere = axis.hemisphere;
  if (axis.mount && axis.mount->outcome == MountOutcome::solved) {
    field.axis_offset = axis.mount->total_error;
    field.axis_sigma = axis.mount->total_sigma;
  }
  if (axis.mount && axis.mount->rate_ratio) {  // also told by a mount that does not turn
    field.rate_ratio = axis.mount->rate_ratio;
    field.rate_sigma = axis.mount->rate_sigma;
  }
  return field;
}

CheckFrame check_frame(const NightFile& file, const NightFrame& frame, const FrameFinding& finding,
                       const CheckSequence& sequence, const SessionOptions& options, double stars_expected) {
  const FrameRecord& r = *file.record;
  CheckFrame out;
  out.file = file.input.file.string();
  for (const auto& c : file.input.companions) out.companions.push_back(c.string());
  if (const auto clock = clock_time_of(r, options)) {
    out.clock_time = clock->time;
    if (clock->zone_known) out.mid_time = clock->time;
  }
  if (r.metadata.exposure_s) out.exposure_s = r.metadata.exposure_s->value;
  out.width_px = r.width;
  out.height_px = r.height;
  out.finding = finding;
  if (const auto scale = sequence.optics.scale_arcsec_per_px; scale && finding.trail_px) {
    out.trail_arcsec = *finding.trail_px * *scale;
    if (finding.trail_sigma_px) out.trail_sigma_arcsec = *finding.trail_sigma_px * *scale;
  }
  if (r.stars_usable > 0) out.elongation = r.elongation;
  out.fwhm_px = frame.fwhm_px;
  out.stars = r.stars_usable;
  out.stars_expected = stars_expected;
  out.sky_adu = r.sky_level;
  out.dimming_mag = frame.dimming_mag;
  out.temperature_c = frame.temperature_c;
  out.place = frame.place;
  out.flags = r.flags;
  if (r.doubled_px) out.flags.push_back("doubled images");
  return out;
}

double stars_expected(const std::vector<NightFrame>& frames) {
  std::vector<int> counts;
  for (const NightFrame& f : frames) counts.push_back(f.stars);
  const auto at = counts.begin() + static_cast<std::ptrdiff_t>((counts.size() - 1) * 4 / 5);
  std::nth_element(counts.begin(), at, counts.end());
  return *at;
}

void report_sequence(const NightSequence& s, const std::vector<NightFile>& files, const Result<Catalogue>& catalogue,
                     const CheckOptions& options, const Progress& progress, NightCache* cache, CheckReport& report) {
  const SessionOptions& session = options.session;
  const NightFile& first = files[s.files.front()];
  const MeasuredFrame described = measured_of(*first.record, first.input.file, session);
  NightAxis axis;
  axis.message = "the star table is missing";
  if (catalogue) axis = find_axis(s, files, *catalogue, options, progress, cache);

  CheckSequence out;
  out.camera = first.record->metadata.camera;
  if (first.record->metadata.exposure_s) out.exposure_s = first.record->metadata.exposure_s->value;
  if (const auto site = site_of(described.frame, session)) out.site = SiteReport{site->value, site->source};
  out.optics = describe_optics(optics_of(described.frame, session), axis.lens ? &*axis.lens : nullptr);
  if (!out.optics.scale_arcsec_per_px && first.record->metadata.scale_arcsec_per_px)
    out.optics.scale_arcsec_per_px = first.record->metadata.scale_arcsec_per_px->value;
  out.frames_identified = axis.identified;
  if (axis.centre) {
    out.centre_ra_deg = right_ascension_of(*axis.centre).deg();
    out.centre_dec_deg = declination_of(*axis.centre).deg();
  }
  out.mount_message = axis.message;
  NightOptions night;
  night.tolerance_px = session.tolerance_px;
  const std::vector<NightFrame> frames = night_frames(s, files, session);
  out.diagnosis = diagnose_night(frames, field_of(*first.record, described, axis, session), night);
  if (out.diagnosis.settling && axis.mount) {
    // A field still coming to rest looks like an axis error.
    solve_settled(axis, *out.diagnosis.settling, options, progress);
    out.mount_message = axis.message;
    out.diagnosis = diagnose_night(frames, field_of(*first.record, described, axis, session), night);
  }
  if (auto note = bend_note(axis, out.diagnosis)) out.diagnosis.notes.push_back(std::move(*note));
  out.mount = std::move(axis.mount);
  if (out.mount && out.mount->outcome == MountOutcome::solved && axis.message.empty())
    out.correction = correction_for(*out.mount, axis.problem.site, session.base);
  const double expected = stars_expected(frames);
  for (std::size_t k = 0; k < frames.size(); ++k) {
    out.frames.push_back(report.frames.size());
    report.frames.push_back(check_frame(files[s.files[k]], frames[k], out.diagnosis.frames[k], out, session, expected));
    report.frames.back().sequence = report.sequences.size();
  }
  report.sequences.push_back(std::move(out));
}

/// Puts the frames of all sequences in order of time and lets the sequences point to them again.
void order_by_time(CheckReport& report) {
  std::vector<std::size_t> order(report.frames.size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    const CheckFrame &u = report.frames[a], &v = report.frames[b];
    if (u.readable != v.readable) return u.readable;
    return u.clock_time && v.clock_time ? *u.clock_time < *v.clock_time : u.clock_time.has_value() && !v.clock_time;
  });
  std::vector<CheckFrame> frames;
  std::vector<std::size_t> now(order.size());
  for (std::size_t i = 0; i < order.size(); ++i) {
    now[order[i]] = i;
    frames.push_back(std::move(report.frames[order[i]]));
  }
  report.frames = std::move(frames);
  for (CheckSequence& s : report.sequences)
    for (std::size_t& f : s.frames) f = now[f];
}

void report_unreadable(const std::vector<NightFile>& files, CheckReport& report) {
  for (const NightFile& file : files) {
    if (file.record && !file.problem.empty())
      report.warnings.push_back(
          fmt::format("not read: {} Measured in its place: {}", file.problem, file.input.file.filename().string()));
    if (file.record) continue;
    CheckFrame out;
    out.file = file.input.file.string();
    for (const auto& c : file.input.companions) out.companions.push_back(c.string());
    out.readable = false;
    out.finding.why = file.problem;
    out.flags = {"unreadable"};
    report.frames.push_back(std::move(out));
    report.warnings.push_back("not read: " + file.problem);
  }
}

}  // namespace

namespace session {

Status explain_night(const std::vector<NightFile>& files, const CheckOptions& options, const Progress& progress,
                     CheckReport& report, NightCache* cache) {
  for (const NightFile& file : files)
    if (file.record) ++(file.remembered ? report.remembered : report.measured);
  const Result<Catalogue> catalogue = Catalogue::open(options.session.catalogue);
  if (!catalogue) report.warnings.push_back(catalogue.error().message());
  for (const NightSequence& s : split_sequences(files, options.session, progress)) {
    if (options.stop && options.stop())
      return Error{ErrorCode::cancelled, "", "stopped while comparing frames", "the whole night",
                   "Run the same command again: what was measured is remembered"};
    report_sequence(s, files, catalogue, options, progress, cache, report);
  }
  report_unreadable(files, report);
  order_by_time(report);
  return {};
}

}  // namespace session

Result<CheckReport> check(const std::vector<std::filesystem::path>& inputs, const CheckOptions& options,
                          const Progress& progress) {
  NightOptions night;
  night.tolerance_px = options.session.tolerance_px;
  if (Status wrong = night.validate()) return *wrong;
  if (progress) progress("looking for frames", 0, 0);
  Result<NightInputs> found = collect_inputs(inputs, options.recursive);
  if (!found) return found.error();

  CheckReport report;
  report.tolerance_px = options.session.tolerance_px;
  report.reference_pole = options.session.pole;
  report.warnings = std::move(found->warnings);
  const std::filesystem::path cache_file = options.cache_file.value_or(default_cache_file());
  const auto cache = options.use_cache && !cache_file.empty() ? std::make_unique<NightCache>(cache_file)
                                                              : std::make_unique<NightCache>();
  const int crop_px = options.session.pictures ? crop_side_px(found->exposures.size()) : 0;
  Result<std::vector<NightFile>> files = measure_all(std::move(found->exposures), options, *cache, progress, crop_px);
  if (!files) return files.error();
  const Status failed = explain_night(*files, options, progress, report, cache.get());
  for (std::string& w : cache->warnings()) report.warnings.push_back(std::move(w));
  if (failed) return *failed;
  if (options.session.pictures) report.evidence = check_evidence(report, std::move(*files), crop_px);
  return report;
}

}  // namespace polewright
