#include "cli/check_progress.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <chrono>
#include <cstdio>

namespace polewright::cli {
namespace {

std::string time_left(double seconds) {
  if (seconds < 90.0) return fmt::format("{:.0f} s left", seconds);
  return fmt::format("{:.0f} min left", seconds / 60.0);
}

}  // namespace

Progress check_progress(bool quiet) {
  if (quiet || ::isatty(STDERR_FILENO) == 0) return {};
  using Clock = std::chrono::steady_clock;
  return [step_now = std::string(), begun = Clock::now(), shown = Clock::time_point()](
             const std::string& step, std::size_t done, std::size_t total) mutable {
    const auto now = Clock::now();
    if (step != step_now) {
      step_now = step;
      begun = now;
    } else if (done != total && now - shown < std::chrono::milliseconds(100)) {
      return;  // a terminal over a slow line must not hold up the work
    }
    shown = now;
    std::string text = "\r\033[K" + step;
    if (total > 0) text += fmt::format(" {}/{}", done, total);
    const double seconds = std::chrono::duration<double>(now - begun).count();
    if (done > 0 && total > 0 && seconds > 1.0) {
      const double rate = static_cast<double>(done) / seconds;
      text += fmt::format(", {:.1f} a second, {}", rate, time_left(static_cast<double>(total - done) / rate));
    }
    fmt::print(stderr, "{}", text);
    std::fflush(stderr);
  };
}

}  // namespace polewright::cli
