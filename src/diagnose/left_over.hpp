// Trails that no known movement makes: what they have in common, and which further frames would tell more.
#pragma once

#include <optional>
#include <string>

#include "diagnose/ledger.hpp"

namespace polewright::diagnose {

struct LeftOver {
  std::size_t trails = 0;        ///< frames whose trail the sequence's motion explains by less than half
  double trail_px = 0.0;         ///< typical, of those frames
  double length_to_width = 1.0;  ///< of their star images: what the eye judges by
  double motion_px = 0.0;        ///< what the motion from frame to frame makes in one of their exposures, typical
  double alike_px = 0.0;         ///< the same elongation on every frame, as a trail; 0 when they differ
  double alike_deg = 0.0;        ///< from +x towards +y
  bool far_apart = false;        ///< frames so far apart that a to and fro between them cannot be followed
};

[[nodiscard]] LeftOver left_over(const Ledger& ledger);

/// Figures for the cause `unexplained` that `frames` frames were laid to; and what they have in common with what to
/// shoot to know more, when there is something to say.
[[nodiscard]] std::string left_over_evidence(const Ledger& ledger, std::size_t frames);
[[nodiscard]] std::optional<std::string> left_over_note(const Ledger& ledger, std::size_t frames);

/// Length over width of a star of this width (FWHM, across the trail) drawn out by an even trail.
[[nodiscard]] double length_to_width(double trail_px, double fwhm_px);

}  // namespace polewright::diagnose
