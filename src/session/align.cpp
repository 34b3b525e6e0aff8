// The main job: frames -> stars -> identification -> motion -> mount -> diagnosis -> advice -> report.
#include <fmt/format.h>

#include <algorithm>

#include "polewright/catalogue.hpp"
#include "session/align_problem.hpp"
#include "session/load.hpp"
#include "session/page_evidence.hpp"
#include "session/together.hpp"

namespace polewright {
namespace {

using namespace session;

void tell(const Progress& progress, const char* step, std::size_t done, std::size_t total) {
  if (progress) progress(step, done, total);
}

/// Identifies the frames in turn, each with the help of one already identified.
void identify_all(std::vector<MeasuredFrame>& frames, const Catalogue& catalogue, const SessionOptions& options,
                  const Progress& progress) {
  announce_sky_index(catalogue, progress);
  const Identification* neighbour = nullptr;
  std::vector<std::size_t> failed;
  const auto attempt = [&](std::size_t i) {
    frames[i].identified = identify(frames[i].stars, catalogue, hints_for(frames[i], options, neighbour));
    if (frames[i].identified->identification) neighbour = &*frames[i].identified->identification;
  };
  for (std::size_t i = 0; i < frames.size(); ++i) {
    tell(progress, "identifying stars", i, frames.size());
    const bool alone = neighbour == nullptr;
    attempt(i);
    if (alone && neighbour == nullptr) failed.push_back(i);
  }
  if (neighbour != nullptr)
    for (const std::size_t i : failed) attempt(i);  // a later frame may now lend its lens and attitude
  tell(progress, "identifying stars", frames.size(), frames.size());
}

std::size_t identified_count(const std::vector<MeasuredFrame>& frames) {
  return static_cast<std::size_t>(std::count_if(
      frames.begin(), frames.end(), [](const auto& f) { return f.identified->identification.has_value(); }));
}

/// Why fewer than two frames could be identified, in one sentence.
void explain_unidentified(const std::vector<MeasuredFrame>& frames, AlignReport& report) {
  const auto few = [](const MeasuredFrame& f) { return f.identified->outcome == IdentifyOutcome::too_few_stars; };
  const auto& worst =
      *std::find_if(frames.begin(), frames.end(), [](const auto& f) { return !f.identified->identification; });
  report.outcome =
      std::any_of(frames.begin(), frames.end(), few) ? AlignOutcome::too_few_stars : AlignOutcome::not_identified;
  report.message = fmt::format("{}: {}", worst.frame.path.filename().string(), worst.identified->message);
}

AlignOutcome outcome_of(MountOutcome outcome) {
  switch (outcome) {
    case MountOutcome::solved:
      return AlignOutcome::solved;
    case MountOutcome::axis_not_observable:
      return AlignOutcome::axis_not_observable;
    case MountOutcome::inconsistent:
      return AlignOutcome::inconsistent;
  }
  return AlignOutcome::inconsistent;
}

void advise(const MountProblem& problem, const SessionOptions& options, const Catalogue& catalogue,
            AlignReport& report) {
  const MountSolution& mount = *report.mount;
  if (mount.rate_ratio) {
    report.drift = field_drift(mount, problem);
    report.exposure = exposure_advice(mount, problem, options.exposure_s, options.tolerance_px);
    report.causes = steady_causes(mount, problem);
  }
  if (report.outcome == AlignOutcome::solved) {
    report.correction = correction_for(mount, problem.site, options.base);
    report.star_target = choose_star_target(mount, problem);
    if (report.star_target && report.star_target->catalogue != kNotInCatalogue)
      report.star_target->name = catalogue.name(report.star_target->catalogue);
  } else if (report.exposure) {
    report.exposure->planned_trail_after_px.reset();  // no axis, no correction
    report.exposure->longest_after_s.reset();
  }
}

/// Without a site or a zone the direction of the error is unknown, but its size, the rate and the drift are not.
void explain_missing_place(const AlignProblem& built, AlignReport& report) {
  const bool solved = report.outcome == AlignOutcome::solved;
  if (solved)
    report.message = fmt::format("The axis is {:.0f}′ from the pole, but which way to turn is unknown: {}",
                                 report.mount->total_error.arcmin(), built.missing);
  else
    report.message += " " + built.missing;
  report.outcome = AlignOutcome::axis_not_observable;
}

std::string solved_message(const AlignReport& report) {
  const MountSolution& m = *report.mount;
  return fmt::format("The axis is {:.1f}′ ± {:.1f}′ from the pole: {:.1f}′ too {} and its base {:.1f}′ too far {}.",
                     m.total_error.arcmin(), m.total_sigma.arcmin(), abs(m.altitude_error).arcmin(),
                     m.altitude_error.rad() >= 0 ? "high" : "low", abs(m.azimuth_error).arcmin(),
                     m.azimuth_error.rad() >= 0 ? "east" : "west");
}

void solve_and_advise(const std::vector<MeasuredFrame>& frames, const SessionOptions& options,
                      const Catalogue& catalogue, AlignReport& report) {
  const AlignProblem built = build_problem(frames, options);
  if (built.problem.frames.size() < 2) {
    report.outcome = AlignOutcome::axis_not_observable;
    report.message = built.missing;
    return;
  }
  MountOptions mount_options;
  mount_options.threads = options.threads;
  report.mount = solve_mount(built.problem, mount_options);
  report.outcome = outcome_of(report.mount->outcome);
  report.message = report.mount->message;
  report.optics = describe_optics(optics_of(frames.front().frame, options), &report.mount->lens);
  const auto& cautions = report.mount->cautions;
  report.warnings.insert(report.warnings.end(), cautions.begin(), cautions.end());
  if (!built.missing.empty()) explain_missing_place(built, report);
  advise(built.problem, options, catalogue, report);
  if (report.outcome == AlignOutcome::solved) report.message = solved_message(report);
  if (options.pictures) report.evidence = align_evidence(frames, catalogue, options, &built.problem, &*report.mount);
}

}  // namespace

Result<AlignReport> align(const std::vector<std::filesystem::path>& paths, const SessionOptions& options,
                          const Progress& progress) {
  AlignReport report;
  report.reference_pole = options.pole;
  if (Status wrong = check_paths(paths)) return *wrong;
  const Result<Catalogue> catalogue = Catalogue::open(options.catalogue);
  if (!catalogue) return catalogue.error();
  Result<std::vector<MeasuredFrame>> loaded = load_all(paths, options, progress, report.warnings);
  if (!loaded) return loaded.error();
  std::vector<MeasuredFrame>& frames = *loaded;
  if (Status wrong = check_together(frames)) return *wrong;

  if (const auto site = site_of(frames.front().frame, options)) report.site = SiteReport{site->value, site->source};
  report.optics = describe_optics(optics_of(frames.front().frame, options), nullptr);
  identify_all(frames, *catalogue, options, progress);
  for (const MeasuredFrame& frame : frames) {
    report.frames.push_back(describe(frame, options));
    for (const std::string& w : frame.frame.metadata.warnings)
      report.warnings.push_back(frame.frame.path.filename().string() + ": " + w);
  }
  if (identified_count(frames) < 2) {
    explain_unidentified(frames, report);
  } else {
    tell(progress, "fitting the axis", 0, 1);
    solve_and_advise(frames, options, *catalogue, report);
  }
  if (options.pictures && !report.evidence)
    report.evidence = align_evidence(frames, *catalogue, options, nullptr, nullptr);
  return report;
}

}  // namespace polewright
