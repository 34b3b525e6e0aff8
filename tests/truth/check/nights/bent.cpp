// How often the axis lies inside its stated 95 % ellipse on nights with unmodelled bends: check_bent [NIGHTS [SEED]].
#include <fmt/format.h>

#include <cstdio>
#include <cstdlib>

#include "nights/bent_nights.hpp"

using namespace polewright;

int main(int argc, char** argv) {
  const int nights = argc > 1 ? std::atoi(argv[1]) : 200;
  const std::uint64_t seed = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 1;
  fmt::print(
      "| bend | nights | refused | widened | inside before | inside after | rms error ′ | median stated σ ′ before | "
      "after |\n|---|---|---|---|---|---|---|---|---|\n");
  for (const test::Bend bend : {test::Bend::none, test::Bend::jolts, test::Bend::walk, test::Bend::settling,
                                test::Bend::speeding, test::Bend::swaying}) {
    const test::CoverScore s = test::cover_of(bend, nights, seed);
    const double solved = s.nights - s.refused;
    fmt::print("| {} | {} | {} | {} | {:.1f} % | {:.1f} % | {:.2f} | {:.3f} | {:.3f} |\n", test::to_text(bend),
               s.nights, s.refused, s.widened, 100.0 * s.inside_before / solved, 100.0 * s.inside_after / solved,
               s.rms_arcmin, s.median_sigma_before, s.median_sigma_after);
    std::fflush(stdout);
  }
}
