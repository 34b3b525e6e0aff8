#include <fmt/format.h>

#include <cmath>

#include "report/words.hpp"

namespace polewright {
namespace {

using namespace report;

using Lines = std::vector<std::string>;

std::string azimuth_move(const AlignReport& r) {
  const AxisCorrection& c = *r.correction;
  const bool north = r.site && hemisphere_sign(r.site->site) > 0;
  return fmt::format(
      "turn the base {} ({}) to the {}, towards {}\n"
      "   as you stand behind the mount facing the pole ({})",
      degree_text(c.azimuth_base), arcmin_text(c.azimuth_base), c.right_hand ? "right" : "left",
      c.azimuth_turn == AzimuthTurn::east ? "east" : "west", north ? "north" : "south");
}

std::string azimuth_detail(const AxisCorrection& c) {
  std::string text = fmt::format("on the sky {}", arcmin_text(c.azimuth_on_sky));
  if (c.rim_mm) text += fmt::format("; {:.1f} mm along the rim of the base", *c.rim_mm);
  if (c.azimuth_screw_turns) text += fmt::format("; {:.2f} turns of its screw", *c.azimuth_screw_turns);
  return text;
}

void instruction(const AlignReport& r, const TextStyle& style, Lines& out) {
  const auto [on, off] = emphasis(style);
  if (!r.correction) {
    out.push_back(fmt::format("{}{}{}", on, r.message, off));
    return;
  }
  const AxisCorrection& c = *r.correction;
  const MountSolution& m = *r.mount;
  if (m.total_error < m.total_sigma * 2.0)
    out.push_back(
        fmt::format("{}Nothing to turn: the axis is on the pole as far as these frames can tell.{}", on, off));
  else if (r.exposure && r.exposure->good_enough.value_or(false))
    out.push_back(fmt::format("{}Leave it: good enough for what you shoot. To bring it closer still:{}", on, off));
  out.push_back(fmt::format("{}1  {} the axis {} ({}){}", on,
                            c.altitude_turn == AltitudeTurn::raise ? "raise" : "lower", degree_text(c.altitude),
                            arcmin_text(c.altitude), off));
  if (c.altitude_screw_turns)
    out.push_back(fmt::format("   {:.2f} turns of the altitude screw", *c.altitude_screw_turns));
  out.push_back(fmt::format("{}2  {}{}", on, azimuth_move(r), off));
  out.push_back("   " + azimuth_detail(c));
}

void live_view(const AlignReport& r, Lines& out) {
  if (!r.star_target) return;
  const StarTarget& t = *r.star_target;
  out.push_back(
      fmt::format("   or on the live view, camera untouched on its head: move {} from pixel ({:.0f}, {:.0f})\n"
                  "   to ({:.0f}, {:.0f}) with the altitude, then to ({:.0f}, {:.0f}) with the base",
                  t.name.empty() ? "the bright star there" : t.name, t.now.x, t.now.y, t.after_altitude.x,
                  t.after_altitude.y, t.after_both.x, t.after_both.y));
}

void good_enough(const AlignReport& r, const TextStyle& style, Lines& out) {
  if (!r.exposure) return;
  const auto [on, off] = emphasis(style);
  const ExposureAdvice& e = *r.exposure;
  if (e.planned_s && e.good_enough && e.planned_trail_px)
    out.push_back(fmt::format("{}{} for {}: stars trail {:.1f} px at worst; you accept {:g} px.{}", on,
                              *e.good_enough ? "Good enough" : "Not good enough", duration_text(*e.planned_s),
                              *e.planned_trail_px, e.tolerance_px, off));
  if (e.longest_s) {
    std::string text = fmt::format("Longest exposure as it stands: {}", duration_text(*e.longest_s));
    if (e.longest_after_s) text += fmt::format("; after the correction: {}", duration_text(*e.longest_after_s));
    out.push_back(text + ".");
  }
  if (e.longest_ground_s)
    out.push_back(fmt::format("The foreground stays within tolerance for {} at this tracking rate.",
                              duration_text(*e.longest_ground_s)));
}

std::string side(double value, const char* positive, const char* negative) {
  return value >= 0 ? positive : negative;
}

void evidence(const AlignReport& r, Lines& out) {
  if (!r.mount) return;
  const MountSolution& m = *r.mount;
  if (r.outcome == AlignOutcome::solved) {
    out.push_back(fmt::format("Axis      altitude {}, azimuth {}; {} ± {} from the {} pole",
                              degree_minute_text(altitude_of(m.axis)), degree_minute_text(azimuth_of(m.axis)),
                              arcmin_text(m.total_error), fmt::format("{:.1f}′", m.total_sigma.arcmin()),
                              r.reference_pole == ReferencePole::refracted ? "refracted" : "true"));
    out.push_back(fmt::format("          altitude {}′ too {}; base {}′ too far {}",
                              plus_minus(std::abs(m.altitude_error.arcmin()), m.altitude_sigma.arcmin()),
                              side(m.altitude_error.rad(), "high", "low"),
                              plus_minus(std::abs(m.azimuth_error.arcmin()), m.azimuth_sigma.arcmin()),
                              side(m.azimuth_error.rad(), "east", "west")));
  }
  if (m.rate_ratio)
    out.push_back(
        fmt::format("Rate      {} of sidereal: {}", plus_minus(*m.rate_ratio, m.rate_sigma), to_text(m.rate_match)));
  if (r.drift)
    out.push_back(fmt::format(
        "Drift     {:+.1f}″ north, {:+.1f}″ east, twist {:+.1f}″ a minute; {:.2f} px a minute at the centre, "
        "{:.2f} at worst",
        r.drift->north_arcsec_per_min, r.drift->east_arcsec_per_min, r.drift->twist_arcsec_per_min,
        r.drift->centre_px_per_min, r.drift->worst_px_per_min));
}

/// What only longer series show: frames left out, adjustments between frames, a head that gives way.
void series(const AlignReport& r, Lines& out) {
  if (!r.mount) return;
  const MountSolution& m = *r.mount;
  for (std::size_t i = 0; i < m.frames.size(); ++i)
    if (m.frames[i].set_aside)
      out.push_back(fmt::format("Set aside frame {}: {}", i + 1, printable(m.frames[i].reason)));
  for (const AxisChange& a : m.adjustments)
    out.push_back(fmt::format("Adjusted  before frame {}: axis {} by {}′, base turned {} by {}′", a.before_frame + 1,
                              side(a.altitude_change.rad(), "raised", "lowered"),
                              plus_minus(std::abs(a.altitude_change.arcmin()), a.altitude_sigma.arcmin()),
                              side(a.azimuth_change.rad(), "east", "west"),
                              plus_minus(std::abs(a.azimuth_change.arcmin()), a.azimuth_sigma.arcmin())));
  if (m.head_sag)
    out.push_back(fmt::format("Head      the pointings disagree by {}′; as sag of the ball head {:.1f}″ a minute",
                              plus_minus(m.head_sag->axis_scatter.arcmin(), m.head_sag->axis_scatter_sigma.arcmin()),
                              m.head_sag->arcsec_per_min));
}

void causes(const AlignReport& r, Lines& out) {
  for (const TrailCause& c : r.causes)
    out.push_back(fmt::format("Cause     {} ({:.0f} %): {}", c.cause, 100.0 * c.share, c.evidence));
}

void frames(const AlignReport& r, Lines& out) {
  if (r.optics.focal_px) {
    std::string text = "Optics    ";
    if (r.optics.focal_mm) text += fmt::format("{:.1f} mm, ", *r.optics.focal_mm);
    if (r.optics.scale_arcsec_per_px) text += fmt::format("{:.2f}″ per pixel", *r.optics.scale_arcsec_per_px);
    if (r.optics.mirrored.value_or(false)) text += ", mirrored";
    out.push_back(text);
  }
  for (const FrameReport& f : r.frames) {
    out.push_back(fmt::format("Frame     {}: {} stars, {} identified{}{}", printable(f.file), f.stars_detected,
                              f.stars_identified,
                              f.residual_rms_px ? fmt::format(", residual {:.2f} px", *f.residual_rms_px) : "",
                              f.mid_time ? ", middle " + f.mid_time->iso() : ""));
    for (const std::string& flag : f.flags) out.push_back("          " + printable(flag));
  }
  if (r.site)
    out.push_back(fmt::format("Site      {:.4f}, {:.4f}, {:.0f} m ({})", r.site->site.latitude.deg(),
                              r.site->site.longitude.deg(), r.site->site.height_m, r.site->source));
}

}  // namespace

std::string align_text(const AlignReport& r, const TextStyle& style) {
  Lines out;
  instruction(r, style, out);
  live_view(r, out);
  out.emplace_back();
  good_enough(r, style, out);
  if (!out.back().empty()) out.emplace_back();
  evidence(r, out);
  series(r, out);
  causes(r, out);
  frames(r, out);
  for (const std::string& w : r.warnings) out.push_back("Note      " + printable(w));
  if (r.correction)
    out.push_back(
        "Careful   re-check every clamp after each move; a loaded tripod tips in wind, and a dark site has edges.");
  return fmt::format("{}\n", fmt::join(out, "\n"));
}

}  // namespace polewright
