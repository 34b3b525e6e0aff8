#include <mutex>

#include "base/parallel.hpp"
#include "session/page_evidence.hpp"
#include "session/page_pictures.hpp"

namespace polewright::session {
namespace {

/// Large enough to see star shapes; three side by side fit a phone; the page of a whole night stays below 8 MB.
int crop_side_px(std::size_t frames) {
  return frames <= 120 ? 104 : frames <= 300 ? 96 : 72;
}

}  // namespace

CheckEvidence check_evidence(const CheckReport& report, const CheckOptions& options, const Progress& progress) {
  CheckEvidence out;
  const std::size_t n = report.frames.size();
  out.crops.resize(n);
  std::size_t done = 0;
  std::mutex told;
  parallel_for(n, options.session.threads, [&](std::size_t i) {
    if (!report.frames[i].readable || (options.stop && options.stop())) return;
    if (const Result<Frame> frame = read_frame(report.frames[i].file))
      out.crops[i].picture = crop_strip(*frame, crop_side_px(n));
    const std::lock_guard<std::mutex> lock(told);
    if (progress) progress("cutting out pictures", ++done, n);
  });
  return out;
}

}  // namespace polewright::session
