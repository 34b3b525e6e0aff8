#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <set>

#include "polewright/advise.hpp"
#include "polewright/check.hpp"
#include "report/words.hpp"

namespace polewright {
namespace {

using namespace report;
using Lines = std::vector<std::string>;

std::string last_part(const std::string& file) {
  return file.substr(file.find_last_of('/') + 1);
}

/// What a frame is called: its file's name, or, where two frames share one, the path below the folder common to all.
class Names {
 public:
  explicit Names(const std::vector<CheckFrame>& frames) {
    std::set<std::string> seen;
    bool shared = false;
    for (const CheckFrame& f : frames) shared |= !seen.insert(last_part(f.file)).second;
    if (!shared) return;
    std::string common = frames.front().file;
    for (const CheckFrame& f : frames)
      common.erase(std::mismatch(common.begin(), common.end(), f.file.begin(), f.file.end()).first, common.end());
    folder_ = common.rfind('/') + 1;  // 0 when there is none in common
  }
  [[nodiscard]] std::string of(const CheckFrame& f) const {
    return printable(folder_ ? f.file.substr(*folder_) : last_part(f.file));
  }

 private:
  std::optional<std::size_t> folder_;
};

std::string plural(std::size_t n, const char* word) {
  return fmt::format("{} {}{}", n, word, n == 1 ? "" : "s");
}

void summary(const CheckReport& r, const TextStyle& style, Lines& out) {
  const auto [on, off] = emphasis(style);
  std::string text = plural(r.frames.size(), "frame") + ": ";
  std::vector<std::string> parts;
  for (const Verdict v : {Verdict::sharp, Verdict::soft, Verdict::trailed, Verdict::unusable})
    if (const std::size_t n = r.count(v); n > 0) parts.push_back(fmt::format("{} {}", n, to_text(v)));
  out.push_back(
      fmt::format("{}{}{} (a trail of {:g} px is accepted){}", on, text, fmt::join(parts, ", "), r.tolerance_px, off));
}

/// " from … to …" by the camera's clock, as far as the frames have times.
std::string span_of(const CheckReport& r, const CheckSequence& s) {
  const auto& first = r.frames[s.frames.front()].clock_time;
  const auto& last = r.frames[s.frames.back()].clock_time;
  if (!first || !last) return {};
  const std::string from = first->iso(), to = last->iso();
  const bool one_day = from.substr(0, 10) == to.substr(0, 10);
  return fmt::format(", {} {} to {}{}", from.substr(0, 10), from.substr(11, 5), one_day ? "" : to.substr(0, 10) + " ",
                     to.substr(11, 5));
}

void heading(const CheckReport& r, std::size_t index, Lines& out) {
  if (r.sequences.size() < 2) return;
  const CheckSequence& s = r.sequences[index];
  std::string text = fmt::format("Sequence {}: {}", index + 1, plural(s.frames.size(), "frame"));
  if (s.exposure_s) text += fmt::format(" of {}", duration_text(*s.exposure_s));
  text += span_of(r, s);
  if (!s.camera.empty()) text += ", " + printable(s.camera);
  if (s.centre_ra_deg)
    text += fmt::format(", at right ascension {:.2f}°, declination {:+.2f}°", *s.centre_ra_deg, *s.centre_dec_deg);
  out.push_back(text);
}

/// The first frame that a cause spoils.
std::string since(const CheckReport& r, const CheckSequence& s, const std::string& cause, const Names& names) {
  for (const std::size_t i : s.frames)
    if (r.frames[i].finding.cause == cause) return " (first: " + names.of(r.frames[i]) + ")";
  return {};
}

void causes(const CheckReport& r, const CheckSequence& s, const TextStyle& style, const Names& names, Lines& out) {
  const auto [on, off] = emphasis(style);
  for (const NightCause& c : s.diagnosis.causes) {
    out.push_back(fmt::format("{}{:<18}{} {:>3.0f} %  {}{}", on, c.cause, off, 100.0 * c.share, printable(c.evidence),
                              since(r, s, c.cause, names)));
    const bool told_below = c.cause == "axis misalignment" && s.correction;
    if (const std::string_view remedy = remedy_for(c.cause); !remedy.empty() && !told_below)
      out.push_back(fmt::format("{:>24} {}", "do:", remedy));
  }
  if (!s.diagnosis.causes.empty()) return;
  const bool spoilt = std::any_of(s.frames.begin(), s.frames.end(),
                                  [&](std::size_t i) { return r.frames[i].finding.verdict != Verdict::sharp; });
  out.push_back(spoilt ? "No cause found." : "Nothing to blame: every frame is as sharp as you asked.");
}

/// A screw is worth touching when what it should turn is more than its own uncertainty.
std::string turn_text(const AxisCorrection& c, const MountSolution& m) {
  std::vector<std::string> moves;
  if (c.altitude > m.altitude_sigma)
    moves.push_back(fmt::format("{} the axis {} ({} ± {:.1f}′)",
                                c.altitude_turn == AltitudeTurn::raise ? "raise" : "lower", degree_text(c.altitude),
                                arcmin_text(c.altitude), std::max(0.1, m.altitude_sigma.arcmin())));
  if (c.azimuth_base > m.azimuth_sigma)
    moves.push_back(
        fmt::format("turn the base {} ± {:.2f}° to the {}, towards {}, as you stand behind the mount facing "
                    "the pole",
                    degree_text(c.azimuth_base), std::max(0.01, m.azimuth_sigma.deg()), c.right_hand ? "right" : "left",
                    c.azimuth_turn == AzimuthTurn::east ? "east" : "west"));
  if (moves.empty()) return "Turn      nothing: the axis' error is smaller than what is known of it";
  return "Turn      " + fmt::format("{}", fmt::join(moves, ", then "));
}

void what_next(const CheckSequence& s, double tolerance_px, Lines& out) {
  const NightDiagnosis& d = s.diagnosis;
  const auto axis = std::find_if(d.causes.begin(), d.causes.end(),
                                 [](const NightCause& c) { return c.cause == "axis misalignment"; });
  const bool axis_to_blame = axis != d.causes.end();
  if (s.correction && s.mount && axis_to_blame) out.push_back(turn_text(*s.correction, *s.mount));
  if (s.correction && axis_to_blame && axis->share < 0.5)
    out.push_back(
        fmt::format("          the axis is {:.0f} % of what spoils the frames; the rest stays whatever you turn",
                    100.0 * axis->share));
  if (s.mount && s.mount->outcome == MountOutcome::solved && s.mount_message.empty())
    out.push_back(fmt::format("Axis      {} ± {:.1f}′ from the pole, from {}", arcmin_text(s.mount->total_error),
                              std::max(0.1, s.mount->total_sigma.arcmin()),
                              plural(s.frames_identified, "identified frame")));
  else if (axis_to_blame && !s.mount_message.empty())
    out.push_back("Axis      which way to turn is unknown: " + printable(s.mount_message));
  if (d.longest_sharp_s && s.exposure_s && *d.longest_sharp_s < *s.exposure_s) {
    std::string text = fmt::format("Exposure  the steady motion (axis, rate, worm) stays within {:g} px up to {}",
                                   tolerance_px, duration_text(*d.longest_sharp_s));
    if (d.saved_by_longest)
      text +=
          *d.saved_by_longest < 0.005
              ? std::string("; the frames are trailed by other things, which shorter subs leave")
              : fmt::format("; such subs would have saved {:.0f} % of the trailed frames", 100.0 * *d.saved_by_longest);
    out.push_back(text);
  }
}

void findings(const CheckReport& r, const CheckSequence& s, const Names& names, Lines& out) {
  constexpr double kWorthTelling = 0.1;  // of the accepted trail
  const NightDiagnosis& d = s.diagnosis;
  if (d.drift)
    out.push_back(fmt::format("Drift     {:.2f} px a minute at the centre, {:.2f} at worst", d.drift->centre_px_per_min,
                              d.drift->worst_px_per_min));
  for (const PeriodicTerm& p : d.periodic) {
    if (p.amplitude_px < kWorthTelling * r.tolerance_px) continue;
    out.push_back(fmt::format("Period    {:.0f} ± {:.0f} s, swing ± {:.2f} px{}", p.period_s,
                              std::max(1.0, p.period_sigma_s), p.amplitude_px,
                              p.amplitude_arcsec ? fmt::format(" (± {:.1f}″)", *p.amplitude_arcsec) : ""));
  }
  for (const NightStep& step : d.steps)
    out.push_back(fmt::format("{}after {}: the field stays shifted by {:.1f} px",
                              step.kind == StepKind::slip ? "Leap      " : "Re-aimed  ",
                              names.of(r.frames[s.frames[step.after_frame]]), std::hypot(step.x_px, step.y_px)));
  for (const std::string& note : d.notes) out.push_back("Note      " + note);
}

double badness(const CheckFrame& f) {
  switch (f.finding.verdict) {
    case Verdict::unusable:
      return 1e9;
    case Verdict::trailed:
      return 1e6 + f.finding.trail_px.value_or(0.0);
    case Verdict::soft:
      return 1e3 + f.fwhm_px.value_or(0.0);
    case Verdict::sharp:
      return f.finding.trail_px.value_or(0.0);
  }
  return 0.0;
}

std::string row(const CheckFrame& f, const Names& names) {
  const FrameFinding& found = f.finding;
  const auto number = [](const std::optional<double>& v, int decimals) {
    return v ? fmt::format("{:.{}f}", *v, decimals) : std::string("–");
  };
  std::string trail = found.trail_px
                          ? fmt::format("{:.2f} ± {:.2f}", *found.trail_px, found.trail_sigma_px.value_or(0.0))
                          : std::string("–");
  return fmt::format("{:<9} {:>13} {:>6} {:>6} {:>8}  {:<18} {}", to_text(found.verdict), trail, number(f.fwhm_px, 2),
                     f.stars, f.clock_time ? f.clock_time->iso().substr(11, 8) : "–", found.cause.value_or(""),
                     names.of(f));
}

void table(const CheckReport& r, const CheckTextOptions& options, const Names& names, Lines& out) {
  std::vector<const CheckFrame*> order;
  for (const CheckFrame& f : r.frames) order.push_back(&f);
  std::stable_sort(order.begin(), order.end(), [](const auto* a, const auto* b) { return badness(*a) > badness(*b); });
  const std::size_t shown = options.most_frames == 0 ? order.size() : std::min(order.size(), options.most_frames);
  out.push_back(fmt::format("{:<9} {:>13} {:>6} {:>6} {:>8}  {:<18} {}", "verdict", "trail px", "width", "stars",
                            "time", "cause", "file"));
  for (std::size_t i = 0; i < shown; ++i) out.push_back(row(*order[i], names));
  if (shown < order.size())
    out.push_back(fmt::format("… and {} more, none worse than these; --all shows every frame", order.size() - shown));
}

}  // namespace

std::string check_text(const CheckReport& r, const CheckTextOptions& options) {
  Lines out;
  const Names names(r.frames);
  summary(r, options.style, out);
  for (std::size_t i = 0; i < r.sequences.size(); ++i) {
    const CheckSequence& s = r.sequences[i];
    heading(r, i, out);
    causes(r, s, options.style, names, out);
    what_next(s, r.tolerance_px, out);
    findings(r, s, names, out);
    out.emplace_back();
  }
  table(r, options, names, out);
  for (const std::string& w : r.warnings) out.push_back("Note      " + printable(w));
  return fmt::format("{}\n", fmt::join(out, "\n"));
}

}  // namespace polewright
