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

std::optional<double> Pace::after(double now_s, std::size_t done) {
  constexpr double kSpan_s = 10.0;
  seen_.emplace_back(now_s, done);
  // Slow frames: two counts are kept however long ago the earlier one was.
  while (seen_.size() > 2 && (now_s - seen_[1].first >= kSpan_s) && seen_[1].second < done) seen_.pop_front();
  const auto& [then_s, then] = seen_.front();
  if (now_s - then_s < 1.0 || done <= then) return {};
  return static_cast<double>(done - then) / (now_s - then_s);
}

Progress check_progress(bool quiet) {
  if (quiet || ::isatty(STDERR_FILENO) == 0) return {};
  using Clock = std::chrono::steady_clock;
  return [step_now = std::string(), begun = Clock::now(), shown = Clock::time_point(), pace = Pace()](
             const std::string& step, std::size_t done, std::size_t total) mutable {
    const auto now = Clock::now();
    if (step != step_now) {
      step_now = step;
      begun = now;
      pace = Pace();
    } else if (done != total && now - shown < std::chrono::milliseconds(100)) {
      return;  // a terminal over a slow line must not hold up the work
    }
    shown = now;
    std::string text = "\r\033[K" + step;
    if (total > 0) text += fmt::format(" {}/{}", done, total);
    if (const auto rate = pace.after(std::chrono::duration<double>(now - begun).count(), done); rate && total >= done)
      text += fmt::format(", {:.1f} a second, {}", *rate, time_left(static_cast<double>(total - done) / *rate));
    fmt::print(stderr, "{}", text);
    std::fflush(stderr);
  };
}

}  // namespace polewright::cli
