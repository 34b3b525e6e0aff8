// From a pose checked in a corner of the frame to all stars of the frame and the lens they show.
#pragma once

#include <optional>
#include <vector>

#include "identify/detections.hpp"
#include "identify/field.hpp"
#include "identify/lens_fit.hpp"
#include "identify/pose.hpp"

namespace polewright {

struct StarPair {
  std::uint32_t field = 0;      ///< index into the list of field stars
  std::uint32_t detection = 0;  ///< rank
};

/// A fitted frame before it is believed.
struct Grown {
  Pose pose;
  FitFreedom freedom;  ///< what of the lens was fitted
  std::vector<FieldStar> field;
  std::vector<StarPair> pairs;
  double reach_sigmas = 4.0;  ///< a star counts as matched within this many of its sigmas
  double cost = 0.0;          ///< of the last fit, in sigmas squared
};

/// Root mean square residual of the pairs per axis.
[[nodiscard]] double rms_px(const Grown& grown, const Detections& detections);

/// Where growing starts: the pose holds to `allowed_px` plus `allowed_slope` times the distance beyond `known_px` of
/// `centre`, and is first looked at within `reach_px` of it.
struct Seed {
  Pose pose;
  PixelPoint centre;
  double known_px = 0.0, reach_px = 0.0, allowed_px = 2.0, allowed_slope = 0.03;
};

class Grower {
 public:
  Grower(const Detections& detections, const Catalogue& catalogue, std::optional<UtcTime> time)
      : detections_(detections), catalogue_(catalogue), time_(time) {}

  /// Extends the match over the frame. Nothing when it breaks off.
  [[nodiscard]] std::optional<Grown> grow(const Seed& seed) const;
  /// Takes in all detections and all stars, and settles.
  void complete(Grown& grown) const;
  /// Pairs, lens terms the data support and pose, in turns, for the present list of field stars.
  void settle(Grown& grown) const;
  /// Pairs within reach under the present pose, brightest stars first; each detection once.
  void associate(Grown& grown) const;
  /// One more fit to the present pairs with the present freedom.
  void fit(Grown& grown) const;
  /// Robust scatter of the pairs' residuals in sigmas per axis.
  [[nodiscard]] double typical_sigmas(const Grown& grown) const;
  /// Robust cost of some of the pairs through a lens of another projection, all its terms free.
  [[nodiscard]] double cost_of_projection(const Grown& grown, Projection projection) const;
  /// Centroid error and the table's, px per axis.
  [[nodiscard]] double sigma_px(const Grown& grown, std::uint32_t detection) const;

 private:
  [[nodiscard]] std::vector<FieldStar> stars_around(const Pose& pose, std::size_t wanted) const;
  [[nodiscard]] std::vector<FitPair> fit_pairs(const Grown& grown) const;
  /// `scatter`: how many times larger than their sigmas residuals may be before they lose weight.
  FitSummary fit_with(Grown& grown, const FitFreedom& freedom, double scatter) const;
  void choose_freedom(Grown& grown) const;
  [[nodiscard]] Grown with_fewer_pairs(const Grown& grown) const;

  const Detections& detections_;
  const Catalogue& catalogue_;
  std::optional<UtcTime> time_;
};

}  // namespace polewright
