// All files of a night, measured or remembered.
#pragma once

#include <string>
#include <vector>

#include "polewright/night.hpp"
#include "session/night_cache.hpp"
#include "session/night_inputs.hpp"

namespace polewright::session {

struct NightFile {
  NightInput input;
  std::optional<FrameRecord> record;
  std::string problem;  ///< why there is no record, or why the record is that of a companion
  bool remembered = false;
  std::string crops;  ///< for the page, a JPEG file; empty when not asked for or not to be had
};

/// Reads and measures on as many threads as the options say, each file on one: while one decodes another measures.
/// Files that cannot be read carry the problem. The same exposure found twice is counted once. With a `crop_px` the
/// page's crops are cut on the way, or remembered like the measurement. Error: cancelled.
[[nodiscard]] Result<std::vector<NightFile>> measure_all(std::vector<NightInput> inputs, const CheckOptions& options,
                                                         NightCache& cache, const Progress& progress, int crop_px = 0);

}  // namespace polewright::session
