#include "polewright/identify.hpp"

#include <algorithm>
#include <cmath>

#include "base/thread_clock.hpp"
#include "identify/believe.hpp"
#include "identify/finish.hpp"
#include "identify/grow.hpp"
#include "identify/plans.hpp"
#include "identify/search.hpp"
#include "identify/vote.hpp"

namespace polewright {
namespace {

constexpr std::size_t kMostDetections = 4000;
constexpr double kLooseFit_px = 0.7;

/// One frame on its way from detections to a believed identification.
class Identifier {
 public:
  Identifier(const StarList& stars, const Catalogue& catalogue, const IdentifyHints& hints,
             const IdentifyOptions& options)
      : catalogue_(catalogue),
        hints_(hints),
        options_(options),
        detections_(stars, kMostDetections),
        grower_(detections_, catalogue, hints.time),
        deadline_s_(thread_seconds() + options.time_limit_s) {}

  [[nodiscard]] const Detections& detections() const { return detections_; }

  std::optional<Identification> run() {
    if (follow_neighbour() || search_sky()) return finish(*found_, chance_, detections_, grower_, hints_);
    return {};
  }

 private:
  /// From a neighbouring frame's attitude, without a search.
  bool follow_neighbour() {
    if (!hints_.attitude || !(hints_.lens || hints_.focal_px)) return false;
    Pose near{*hints_.attitude, hints_.lens ? *hints_.lens
                                            : centred_lens(Projection::rectilinear, *hints_.focal_px,
                                                           detections_.width(), detections_.height())};
    if (!(near.lens.focal_px > 0.0)) return false;
    const auto seed = vote_for_shift(detections_, catalogue_, near);
    return seed && believe(*seed, 1);
  }

  bool search_sky() {
    const PatternIndex index = PatternIndex::for_catalogue(catalogue_);
    SearchCounts counts;
    for (SearchPlan& plan : search_plans(detections_, hints_)) {
      plan.deadline_s = deadline_s_;
      const auto accept = [&](const Candidate& c) {
        Seed seed;
        seed.pose = c.pose;
        seed.centre = c.fan.place[0];
        seed.known_px = 0.3 * c.reach_px;
        seed.reach_px = c.reach_px;
        return believe(seed, counts.posed);
      };
      if (search(detections_, index, plan, accept, counts)) return true;
    }
    return false;
  }

  /// Grows the seed over the frame and keeps it when the result cannot be an accident.
  bool believe(const Seed& seed, std::uint64_t tried) {
    auto grown = grower_.grow(seed);
    if (!grown) return false;
    grower_.complete(*grown);
    if (static_cast<int>(grown->pairs.size()) < options_.min_matches) return false;
    chance_ = log10_chance(*grown, detections_, grower_, tried);
    // A loose fit means that some of the pairs are accidents in the right neighbourhood: believe it only when it is
    // beyond any doubt, else look on for a better one.
    const double strictness = rms_px(*grown, detections_) > kLooseFit_px ? 4.0 : 1.0;
    if (chance_ > strictness * std::log10(options_.max_chance_probability)) return false;
    found_ = std::move(grown);
    return true;
  }

  const Catalogue& catalogue_;
  const IdentifyHints& hints_;
  const IdentifyOptions& options_;
  Detections detections_;
  Grower grower_;
  double deadline_s_;
  std::optional<Grown> found_;
  double chance_ = 0.0;
};

}  // namespace

IdentifyResult identify(const StarList& stars, const Catalogue& catalogue, const IdentifyHints& hints,
                        const IdentifyOptions& options) {
  IdentifyResult result;
  Identifier identifier(stars, catalogue, hints, options);
  const auto usable = identifier.detections().size();
  if (stars.width <= 0 || stars.height <= 0 || static_cast<int>(usable) < options.min_matches) {
    result.outcome = IdentifyOutcome::too_few_stars;
    result.message = std::to_string(usable) + " usable stars, at least " + std::to_string(options.min_matches) +
                     " are needed: expose longer, focus, or point away from cloud and foreground";
    return result;
  }
  result.identification = identifier.run();
  if (result.identification) {
    result.outcome = IdentifyOutcome::identified;
  } else {
    result.message =
        std::to_string(usable) +
        " usable stars, but no part of the sky fits them beyond doubt: check that the frame shows stars, is "
        "in focus and not strongly trailed, and give the focal length";
  }
  return result;
}

}  // namespace polewright
