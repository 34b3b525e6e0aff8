// Runs the labelled set and prints the confusion table: check_confusion [CLEAN_NIGHTS|twisted [OTHER_SEEDS [v]]]. With
// v it tells of every night and frame it got wrong on standard error.
#include <fmt/format.h>

#include <cmath>
#include <cstdlib>
#include <map>
#include <string>

#include "nights/night_maker.hpp"

using namespace polewright;

namespace {

std::string named_first(const NightDiagnosis& d) {
  return d.causes.empty() ? "none" : d.causes.front().cause;
}

struct Score {
  int right = 0, all = 0;
};

}  // namespace

int main(int argc, char** argv) {
  const bool verbose = argc > 3;
  const std::uint64_t other_seeds = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 0;
  std::map<std::string, std::map<std::string, int>> table;
  Score dominant, clean, trailed, second, unexplained;
  const std::string set = argc > 1 ? argv[1] : "60";
  for (const test::NightPlan& plan : set == "twisted" ? test::twisted_nights(other_seeds)
                                                      : test::labelled_nights(std::atoi(set.c_str()), other_seeds)) {
    const test::MadeNight night = test::make_night(plan);
    const NightDiagnosis d = diagnose_night(night.frames, night.field);
    const std::string truth = plan.causes.empty() ? "none" : plan.causes.front();
    ++table[truth][named_first(d)];
    Score& score = plan.causes.empty() ? clean : dominant;
    ++score.all;
    score.right += truth == named_first(d) ? 1 : 0;
    if (plan.causes.size() > 1) {
      ++second.all;
      for (const NightCause& c : d.causes) second.right += c.cause == plan.causes[1] ? 1 : 0;
    }
    int wrong = 0, open = 0;
    for (const FrameFinding& f : d.frames) {
      if (f.verdict == Verdict::sharp) continue;
      ++unexplained.all;
      open += f.cause == "unexplained" ? 1 : 0;
    }
    unexplained.right += open;
    for (std::size_t i = 0; i < night.frames.size(); ++i) {
      if (std::abs(night.true_trail_px[i] - 1.0) < 0.15 || d.frames[i].verdict == Verdict::unusable) continue;
      const bool right = (d.frames[i].verdict == Verdict::trailed) == (night.true_trail_px[i] > 1.0);
      ++trailed.all;
      trailed.right += right ? 1 : 0;
      wrong += right ? 0 : 1;
    }
    if (verbose && (truth != named_first(d) || wrong > 0 || open > 0)) {
      double most = 0;
      for (const double t : night.true_trail_px) most = std::max(most, t);
      fmt::print(stderr, "{} ({} mm, {} s, seed {}): {} wrong frames, worst true trail {:.2f}; wander {:.2f}\n",
                 plan.name, plan.scene.lens.focal_mm, plan.scene.exposure_s, plan.seed, wrong, most, d.wander_px);
      for (const NightCause& c : d.causes)
        fmt::print(stderr, "    {} {:.2f} px {:.2f} frames {} bic {:.0f}: {}\n", c.cause, c.share, c.trail_px, c.frames,
                   c.bic_gain, c.evidence);
      for (std::size_t i = 0; i < night.frames.size(); ++i)
        if (d.frames[i].cause == "unexplained") fmt::print(stderr, "      frame {}: {}\n", i, d.frames[i].why);
      for (std::size_t i = 0; i < night.frames.size() && wrong > 0; ++i)
        if (std::abs(night.true_trail_px[i] - 1.0) >= 0.15 && d.frames[i].verdict != Verdict::unusable &&
            (d.frames[i].verdict == Verdict::trailed) != (night.true_trail_px[i] > 1.0))
          fmt::print(stderr, "      frame {} true {:.2f} said {:.2f} ± {:.2f} expected {:.2f} {}\n", i,
                     night.true_trail_px[i], d.frames[i].trail_px.value_or(-1), d.frames[i].trail_sigma_px.value_or(-1),
                     d.frames[i].expected_trail_px, to_text(d.frames[i].verdict));
    }
  }
  fmt::print("| true dominant cause | named first (nights) |\n|---|---|\n");
  for (const auto& [truth, row] : table) {
    std::string cells;
    for (const auto& [named, n] : row) cells += fmt::format("{}{} {}", cells.empty() ? "" : ", ", named, n);
    fmt::print("| {} | {} |\n", truth, cells);
  }
  const auto percent = [](const Score& s) {
    return fmt::format("{} of {} ({:.1f} %)", s.right, s.all, 100.0 * s.right / std::max(1, s.all));
  };
  fmt::print(
      "\n- dominant cause right: {}\n- clean nights without a cause: {}\n- second cause of a pair also named: {}\n"
      "- trailed or not, frames outside ±15 % of the tolerance: {}\n"
      "- frames not sharp and left unexplained: {}\n",
      percent(dominant), percent(clean), percent(second), percent(trailed), percent(unexplained));
}
