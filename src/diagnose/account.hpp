// One account of a sequence's motion: a sum of simple movements, fitted by least squares and weighed by how much of the
// motion it explains against how much it had to assume.
#pragma once

#include <Eigen/Dense>
#include <vector>

#include "diagnose/series.hpp"

namespace polewright::diagnose {

enum class Term {
  drift,     ///< t
  bend,      ///< 1 − cos ωt: the way an axis error's drift turns through the night
  bend3,     ///< ωt − sin ωt
  step,      ///< stays shifted from frame `at` on
  blip,      ///< frame `at` alone
  settling,  ///< exp(−t/scale_s)
  wave,      ///< sin and cos of 2πt/scale_s, along the tracking direction only
};

struct Component {
  Term term{};
  double scale_s = 0.0;
  Eigen::Index at = 0;
};

/// Parameters a component brings: coefficients and what was searched for.
[[nodiscard]] int parameters(const Component& component);

/// Unweighted columns of a component at a time, averaged over an exposure of the given length (0: the instant).
[[nodiscard]] Eigen::RowVectorXd columns_at(const Component& component, const Series& series, double time_s,
                                            double exposure_s);
/// Weighted columns for all frames.
[[nodiscard]] Eigen::MatrixXd columns(const Component& component, const Series& series);

struct Account {
  std::vector<Component> components;
  Eigen::MatrixXd coefficients;  ///< first row the constant, then each component's columns; 3 columns
  Eigen::MatrixXd residual;      ///< weighted, frames × 3
  double rss = 0.0;              ///< in units of the stars' noise
  int parameter_count = 3;

  /// Bayesian information criterion with the noise level unknown but never below the stars' own.
  [[nodiscard]] double bic() const;
  /// Correlation of the residual from frame to frame, 0 to 0.95.
  [[nodiscard]] double redness() const;
  /// First coefficient row of component i.
  [[nodiscard]] Eigen::Index row_of(std::size_t i) const;
  /// Displacement between two moments of one component, px.
  [[nodiscard]] Displacement moved(std::size_t i, const Series& series, double from_s, double to_s) const;
};

[[nodiscard]] Account fit(const Series& series, std::vector<Component> components);
/// Weighted columns of the constant and of all components side by side, in the order of an account's coefficients.
[[nodiscard]] Eigen::MatrixXd design(const Series& series, const std::vector<Component>& components,
                                     bool with_waves = true);

/// Least squares with two designs: the tracking direction has the waves as well, the other two directions have not.
class Projector {
 public:
  Projector(const Series& series, const std::vector<Component>& components);
  /// Drop of the residual sum of squares when `columns` are added in all directions, or in the tracking direction
  /// alone.
  [[nodiscard]] double gain(const Eigen::MatrixXd& residual, const Eigen::MatrixXd& columns, bool tracking_only) const;
  /// Coefficients of `columns`, orthonormalised against the design, in the three directions.
  [[nodiscard]] Eigen::MatrixXd projected(const Eigen::MatrixXd& residual, const Eigen::MatrixXd& columns) const;
  [[nodiscard]] const Eigen::MatrixXd& tracking() const { return tracking_; }
  [[nodiscard]] const Eigen::MatrixXd& others() const { return others_; }

 private:
  Eigen::MatrixXd tracking_, others_;  ///< orthonormal columns
};

}  // namespace polewright::diagnose
