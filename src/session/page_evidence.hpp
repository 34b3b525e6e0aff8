// Gathers what the page and the overlay show besides figures.
#pragma once

#include "polewright/catalogue.hpp"
#include "polewright/mount.hpp"
#include "polewright/night.hpp"
#include "session/load.hpp"
#include "session/night_measure.hpp"

namespace polewright::session {

/// A frame to look at: its pixels (read again), its stars and what became of them, and, when its own trails say so, how
/// the stars moved during the exposure.
[[nodiscard]] FrameView view_of(const MeasuredFrame& frame, const Catalogue& catalogue);

/// Evidence for `align`. `problem` and `mount` are absent when the frames did not come that far.
[[nodiscard]] AlignEvidence align_evidence(const std::vector<MeasuredFrame>& frames, const Catalogue& catalogue,
                                           const SessionOptions& options, const MountProblem* problem,
                                           const MountSolution* mount);

/// The crops cut while the frames were measured, in the report's order.
[[nodiscard]] CheckEvidence check_evidence(const CheckReport& report, std::vector<NightFile> files, int crop_px);

}  // namespace polewright::session
