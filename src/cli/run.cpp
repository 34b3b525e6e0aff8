#include "cli/run.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <cstdio>

#include "cli/check_command.hpp"
#include "cli/options.hpp"
#include "cli/terminal.hpp"
#include "polewright/page.hpp"

namespace polewright::cli {
namespace {

constexpr int kAnswered = 0, kInputWrong = 1, kCannotAnswer = 2;

void add_common(CLI::App& command, Typed& typed) {
  command.add_option("--site", typed.site, "where the tripod stands: LAT,LON[,HEIGHT_M]; north and east positive");
  command.add_option("--utc-offset", typed.utc_offset, "of a camera clock that records no zone: ±HH:MM");
  command.add_option("--focal", typed.focal_mm, "focal length, mm")->check(CLI::Range(1.0, 5000.0));
  command.add_option("--pitch", typed.pitch_um, "pixel pitch, µm")->check(CLI::Range(0.3, 100.0));
  command.add_option("--pressure", typed.pressure_hpa, "air pressure, hPa (default: from the height)")
      ->check(CLI::Range(300.0, 1100.0));
  command.add_option("--temperature", typed.temperature_c, "air temperature, °C")->check(CLI::Range(-60.0, 60.0));
  command.add_option("--config", typed.config_file,
                     "TOML file (default: polewright/config.toml in the XDG config folder)");
  command.add_option("--json", typed.json_file, "write the result as JSON; - for standard output");
  command.add_option("--threads", typed.threads, "threads (default: all)")->check(CLI::Range(1, 1024));
  command.add_flag("--quiet", typed.quiet, "no progress");
  command.add_flag("--verbose", typed.verbose, "say what is used from where");
}

void add_exposure(CLI::App& command, Typed& typed) {
  command.add_option("--exposure", typed.exposure_s, "the exposure you mean to shoot, s")
      ->check(CLI::Range(0.001, 86400.0));
  command.add_option("--tolerance", typed.tolerance_px, "trail you accept, px (default 1)")
      ->check(CLI::Range(0.01, 1000.0));
  command.add_option("--pole", typed.pole, "reference pole")->check(CLI::IsMember({"refracted", "true"}));
}

void add_pages(CLI::App& command, Typed& typed) {
  command.add_option("--report", typed.report_file, "write one self-contained HTML page");
}

void add_overlay(CLI::App& command, Typed& typed) {
  command.add_option("--overlay", typed.overlay_file,
                     "write the frame with its stars, flags and trails marked, as PNG");
}

/// Files first, so that a reader who closes the pipe early costs none of them; the page's text is made only when asked.
template <class MakePage>
Status write_files(const Typed& typed, const std::string& json, const MakePage& make_page,
                   const std::optional<FrameView>& view) {
  Status failed;
  if (!typed.json_file.empty() && typed.json_file != "-") failed = write_whole(typed.json_file, json);
  if (!failed && !typed.report_file.empty()) failed = write_whole(typed.report_file, make_page());
  if (!failed && !typed.overlay_file.empty()) failed = write_overlay(typed.overlay_file, view.value_or(FrameView{}));
  return failed;
}

/// The answer is printed even when a file could not be written.
template <class MakePage>
int deliver(const Typed& typed, const std::string& text, const std::string& json, const MakePage& make_page,
            const std::optional<FrameView>& view) {
  const Status failed = write_files(typed, json, make_page, view);
  fmt::print("{}", typed.json_file == "-" ? json : text);
  std::fflush(stdout);
  if (failed) complain(failed->message());
  return failed || std::ferror(stdout) != 0 ? kInputWrong : kAnswered;
}

int refuse(const Error& error) {
  complain(error.message());
  return kInputWrong;
}

void tell_origins(const Typed& typed, const SessionOptions& o) {
  if (!typed.verbose) return;
  if (o.site)
    complain(fmt::format("site {:.5f}, {:.5f} from {}", o.site->value.latitude.deg(), o.site->value.longitude.deg(),
                         o.site->source));
  if (o.focal_mm) complain(fmt::format("focal length {:g} mm from {}", o.focal_mm->value, o.focal_mm->source));
  if (o.pitch_um) complain(fmt::format("pixel pitch {:g} µm from {}", o.pitch_um->value, o.pitch_um->source));
}

int run_align(const Typed& typed) {
  const Result<SessionOptions> options = session_options(typed);
  if (!options) return refuse(options.error());
  tell_origins(typed, *options);
  const Result<AlignReport> report =
      align({typed.frames.begin(), typed.frames.end()}, *options, progress_line(typed.quiet));
  end_progress(typed.quiet);
  if (!report) return refuse(report.error());
  const int status = deliver(
      typed, align_text(*report, {colour_wanted(STDOUT_FILENO)}), align_json(*report),
      [&] { return align_page(*report); }, report->evidence ? report->evidence->frame : std::nullopt);
  if (status != kAnswered) return status;
  return report->outcome == AlignOutcome::solved ? kAnswered : kCannotAnswer;
}

int run_inspect(const Typed& typed) {
  const Result<SessionOptions> options = session_options(typed);
  if (!options) return refuse(options.error());
  const Result<InspectReport> report = inspect(typed.frames.front(), *options, progress_line(typed.quiet));
  end_progress(typed.quiet);
  if (!report) return refuse(report.error());
  return deliver(
      typed, inspect_text(*report, {colour_wanted(STDOUT_FILENO)}), inspect_json(*report),
      [&] { return inspect_page(*report); }, report->view);
}

}  // namespace

int run(int argc, char** argv) {
  Typed typed;
  CLI::App app("polewright: where your tracker's axis points, what to turn, and whether it is good enough");
  app.set_version_flag("--version", std::string("polewright ") + program_version());
  app.require_subcommand(1);
  app.failure_message(CLI::FailureMessage::simple);

  CLI::App* align_command =
      app.add_subcommand("align", "two frames of the sky: where the axis points and what to turn");
  align_command->add_option("FRAME", typed.frames, "two frames or more of one pointing, some minutes apart");
  add_common(*align_command, typed);
  add_exposure(*align_command, typed);
  add_pages(*align_command, typed);
  add_overlay(*align_command, typed);
  align_command->footer(
      "Examples:\n"
      "  polewright align first.dng second.dng --exposure 60\n"
      "  polewright align a.fits b.fits --site 46.55,7.98,1650 --exposure 120 --tolerance 1.5\n"
      "  polewright align a.jpg b.jpg --site=-33.93,18.42 --utc-offset +02:00 --focal 35 --pitch 3.9 --json -");

  CLI::App* inspect_command = app.add_subcommand("inspect", "one frame: what was read from it and measured in it");
  inspect_command->add_option("FRAME", typed.frames, "the frame")->required()->expected(1);
  add_common(*inspect_command, typed);
  add_pages(*inspect_command, typed);
  add_overlay(*inspect_command, typed);
  inspect_command->footer("Example:\n  polewright inspect night_0042.cr2 --json -");

  CheckTyped check_typed;
  CLI::App* check_command = add_check(app, typed, check_typed);
  add_common(*check_command, typed);
  add_pages(*check_command, typed);
  add_exposure(*check_command, typed);

  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& e) {
    return app.exit(e) == 0 ? kAnswered : kInputWrong;
  }
  if (check_command->parsed()) return run_check(typed, check_typed);
  return align_command->parsed() ? run_align(typed) : run_inspect(typed);
}

}  // namespace polewright::cli
