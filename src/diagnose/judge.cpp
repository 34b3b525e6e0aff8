#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "diagnose/ledger.hpp"

namespace polewright::diagnose {
namespace {

/// Smeared frames that follow one another up to this many are still gusts; longer, something lasting is at work.
constexpr std::size_t kLongestGust = 3;

std::size_t sudden_run(const Ledger& l, std::size_t frame) {
  std::size_t from = frame, to = frame;
  while (from > 0 && l.sudden(from - 1)) --from;
  while (to + 1 < l.frames.size() && l.sudden(to + 1)) ++to;
  return to - from + 1;
}

/// A step at or next to this frame, or between its placed neighbours, large enough to have made its smear.
const Ledger::Event* step_at(const Ledger& l, std::size_t frame) {
  for (const Ledger::Event& e : l.events)
    if (e.stays && frame >= e.before && frame <= e.frame &&
        worst_of(e.moved, l.field) > 0.4 * l.motions[frame].excess_px)
      return &e;
  return nullptr;
}

/// The sequence comes to rest, and every frame up to this one is smeared: the start is faster than one exponential
/// follows.
bool still_settling(const Ledger& l, std::size_t frame) {
  const std::vector<Component>& c = l.finding.account.components;
  if (std::none_of(c.begin(), c.end(), [](const Component& x) { return x.term == Term::settling; })) return false;
  for (std::size_t i = 0; i <= frame; ++i)
    if (!l.sudden(i) && l.frames[i].trail) return false;
  return true;
}

std::size_t sudden_count(const Ledger& l) {
  std::size_t n = 0;
  for (std::size_t i = 0; i < l.frames.size(); ++i) n += l.sudden(i) ? 1 : 0;
  return n;
}

/// Smeared alone or nearly so, on a night where that is the exception, and the pointing is seen to return.
bool gust_like(const Ledger& l, std::size_t frame) {
  const bool returned =
      std::any_of(l.series.frame.begin(), l.series.frame.end(), [&](std::size_t f) { return f > frame; });
  const bool rare = 4 * sudden_count(l) <= std::max<std::size_t>(l.frames.size(), 8);
  return l.sudden(frame) && rare && returned && sudden_run(l, frame) <= kLongestGust && l.series.size() >= 4 &&
         step_at(l, frame) == nullptr && !still_settling(l, frame);
}

/// A frame next to a gust whose swing had begun before or had not died away.
bool beside_gust(const Ledger& l, std::size_t frame) {
  return (frame > 0 && gust_like(l, frame - 1)) || (frame + 1 < l.frames.size() && gust_like(l, frame + 1));
}

void blame(Judgement& j, const std::string& cause, double trail_px, std::string why) {
  j.finding.cause = cause;
  j.finding.why = std::move(why);
  j.votes = {{cause, 1.0, trail_px}};
}

void blame_sudden(const Ledger& l, std::size_t frame, Judgement& j) {
  const FrameMotion& m = l.motions[frame];
  const double trail = *m.trail_px;
  if (const Ledger::Event* step = step_at(l, frame)) {
    blame(j, "slip", trail,
          fmt::format("trail {:.1f} px, {:.1f} px expected; from here on the field stays shifted by {:.1f} px", trail,
                      worst_of(m.expected, l.field), std::hypot(step->moved.x(), step->moved.y())));
    return;
  }
  if (still_settling(l, frame)) {
    blame(j, "settling", trail,
          fmt::format("trail {:.1f} px, {:.1f} px expected, while the field is still coming to rest", trail,
                      worst_of(m.expected, l.field)));
    return;
  }
  // Gusts are exceptions. When they are the rule, something that this analysis has no name for is at work.
  // And only a later frame shows that the pointing came back.
  if (gust_like(l, frame)) {
    blame(j, "gust or knock", trail,
          fmt::format("trail {:.1f} px, {:.1f} px expected; the pointing returns afterwards", trail,
                      worst_of(m.expected, l.field)));
    return;
  }
  blame(
      j, "unexplained", trail,
      fmt::format("trail {:.1f} px, {:.1f} px more than the motion from frame to frame explains", trail, m.excess_px));
}

std::string share_of_trail(const std::string& cause, double part_px, double trail_px) {
  if (part_px > 1.1 * trail_px)
    return fmt::format("{} alone would make {:.1f} px; other motion takes part of it back and leaves {:.1f} px", cause,
                       part_px, trail_px);
  if (part_px > 0.95 * trail_px) return fmt::format("{} makes the whole trail of {:.1f} px", cause, trail_px);
  return fmt::format("{} makes {:.1f} px of the {:.1f} px trail", cause, part_px, trail_px);
}

void blame_motion(const Ledger& l, std::size_t frame, Judgement& j) {
  const FrameMotion& m = l.motions[frame];
  const double trail = *m.trail_px, expected = worst_of(m.expected, l.field);
  const auto main =
      std::max_element(m.parts.begin(), m.parts.end(), [](const auto& a, const auto& b) { return a.share < b.share; });
  if (expected < 0.5 * trail || main == m.parts.end()) {
    if (beside_gust(l, frame))
      blame(j, "gust or knock", trail,
            fmt::format("trail {:.1f} px next to a frame that a gust smeared: the same swing", trail));
    else
      blame(
          j, "unexplained", trail,
          fmt::format("trail {:.1f} px, of which the motion from frame to frame explains {:.1f} px", trail, expected));
    return;
  }
  blame(
      j, main->cause, main->trail_px,
      main->cause == "unexplained"
          ? fmt::format(
                "even drift of {:.1f} px in this exposure; without identified stars axis and rate cannot be told apart",
                main->trail_px)
          : share_of_trail(main->cause, main->trail_px, trail));
  j.votes.clear();
  for (const Part& p : m.parts)
    if (p.share > 0.0) j.votes.push_back({p.cause, p.share, p.trail_px});
}

/// Light lost as dew takes it; or too few stars to tell, on a frame joined to such frames by frames like itself.
bool dewed(const Ledger& l, std::size_t frame) {
  const StarSizes& s = l.sizes;
  if (l.frames[frame].dimming_mag) return s.dim_mag[frame] > 0.3;
  for (std::size_t i = frame; i-- > 0;) {
    if (l.frames[i].dimming_mag) return s.soft[i] && s.dim_mag[i] > 0.3;
    if (!s.lost[i]) return false;
  }
  return false;
}

void judge_lost(const Ledger& l, std::size_t frame, Judgement& j) {
  const NightFrame& f = l.frames[frame];
  const StarSizes& s = l.sizes;
  j.finding.verdict = Verdict::unusable;
  const bool few = f.stars < l.options.lost_stars * s.stars_expected;
  const std::string stars = few ? fmt::format("{} stars of the {:.0f} expected", f.stars, s.stars_expected)
                                : fmt::format("{} stars", f.stars);
  if (!f.place && !f.dimming_mag && step_at(l, frame) != nullptr)
    blame(j, "slip", 0.0, stars + "; the field leapt between the frames before and after");
  else if (s.clouded[frame])
    blame(j, "clouds", 0.0,
          f.dimming_mag ? fmt::format("{}, {:.1f} mag of their light gone", stars, s.dim_mag[frame])
                        : stars + ", and they come back");
  else if (s.softening == Softening::dew && dewed(l, frame))
    blame(j, "dew", s.growth_px[frame],
          f.dimming_mag ? fmt::format("{}, {:.1f} mag of their light gone and their width grown by {:.1f} px", stars,
                                      s.dim_mag[frame], s.growth_px[frame])
                        : stars + ", after the light went with growing width");
  else if (s.softening == Softening::focus && s.soft[frame])
    blame(j, "defocus", s.growth_px[frame],
          fmt::format("{}, their width grown by {:.1f} px", stars, s.growth_px[frame]));
  else
    blame(j, "unexplained", 0.0, stars);
}

void judge_soft(const Ledger& l, std::size_t frame, Judgement& j) {
  const StarSizes& s = l.sizes;
  j.finding.verdict = Verdict::soft;
  const std::string width = fmt::format("stars {:.1f} px wide, {:.1f} px more than at their best",
                                        *l.frames[frame].fwhm_px, s.growth_px[frame]);
  if (s.softening == Softening::dew)
    blame(j, "dew", s.growth_px[frame], fmt::format("{}, and {:.1f} mag of their light gone", width, s.dim_mag[frame]));
  else if (s.softening == Softening::focus)
    blame(j, "defocus", s.growth_px[frame], width);
  else
    blame(j, "unexplained", s.growth_px[frame], width);
}

}  // namespace

Judgement judge(const Ledger& l, std::size_t frame) {
  const NightFrame& f = l.frames[frame];
  const FrameMotion& m = l.motions[frame];
  Judgement j;
  j.finding.trail_px = m.trail_px;
  j.finding.trail_sigma_px = m.trail_sigma_px;
  j.finding.trail_angle_deg = m.angle_deg;
  j.finding.trail_from_sequence = m.from_sequence;
  j.finding.expected_trail_px = worst_of(m.expected, l.field);
  if (f.spoiled || f.stars < 3) {
    j.finding.verdict = Verdict::unusable;
    if (!f.spoiled && l.sizes.stars_expected >= 10.0)
      judge_lost(l, frame, j);
    else
      j.finding.why = f.spoiled ? "no picture of stars" : "hardly a star found";
    return j;
  }
  const bool trailed =
      m.trail_px && *m.trail_px > l.options.tolerance_px && *m.trail_px > 3.0 * m.trail_sigma_px.value_or(0.0);
  // A smear or a second image takes light from the first without any cloud.
  const bool smeared = trailed && m.excess;
  if (l.sizes.lost[frame] && !smeared && (l.sizes.clouded[frame] || !trailed)) {
    judge_lost(l, frame, j);
  } else if (trailed) {
    j.finding.verdict = Verdict::trailed;
    if (m.excess)
      blame_sudden(l, frame, j);
    else
      blame_motion(l, frame, j);
  } else if (l.sizes.soft[frame]) {
    judge_soft(l, frame, j);
  } else {
    j.finding.verdict = m.trail_px || f.fwhm_px ? Verdict::sharp : Verdict::unusable;
    if (j.finding.verdict == Verdict::unusable) j.finding.why = "no star could be measured";
  }
  return j;
}

}  // namespace polewright::diagnose
