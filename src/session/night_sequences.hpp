// Frames of one camera, exposure and pointing, in order of time, each placed against the first.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "polewright/diagnose.hpp"
#include "session/night_measure.hpp"

namespace polewright::session {

struct NightSequence {
  std::vector<std::size_t> files;                 ///< by time
  std::vector<std::optional<FieldPlace>> places;  ///< against the sequence's reference frame; same order
  std::vector<std::optional<double>> dimming_mag;
};

/// Splits the readable files; the sequence with most frames comes first.
[[nodiscard]] std::vector<NightSequence> split_sequences(const std::vector<NightFile>& files,
                                                         const SessionOptions& options, const Progress& progress);

}  // namespace polewright::session
