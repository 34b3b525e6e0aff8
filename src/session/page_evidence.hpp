// Gathers what the page and the overlay show besides figures.
#pragma once

#include "polewright/catalogue.hpp"
#include "polewright/mount.hpp"
#include "polewright/night.hpp"
#include "session/load.hpp"

namespace polewright::session {

/// A frame to look at: its pixels (read again), its stars and what became of them, and, when its own trails say so, how
/// the stars moved during the exposure.
[[nodiscard]] FrameView view_of(const MeasuredFrame& frame, const Catalogue& catalogue);

/// Evidence for `align`. `problem` and `mount` are absent when the frames did not come that far.
[[nodiscard]] AlignEvidence align_evidence(const std::vector<MeasuredFrame>& frames, const Catalogue& catalogue,
                                           const SessionOptions& options, const MountProblem* problem,
                                           const MountSolution* mount);

/// Crops of every readable frame of a night, read again; empty where that fails.
[[nodiscard]] CheckEvidence check_evidence(const CheckReport& report, const CheckOptions& options,
                                           const Progress& progress);

}  // namespace polewright::session
