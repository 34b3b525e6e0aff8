// From measured files to the report: sequences, axis, diagnosis.
#pragma once

#include <vector>

#include "session/night_measure.hpp"

namespace polewright::session {

/// Fills the report's sequences and frames. Error: cancelled.
[[nodiscard]] Status explain_night(const std::vector<NightFile>& files, const CheckOptions& options,
                                   const Progress& progress, CheckReport& report, NightCache* cache = nullptr);

}  // namespace polewright::session
