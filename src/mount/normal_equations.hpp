// Sums of all stars' measurements into one small linear system.
#pragma once

#include <Eigen/Core>

#include "mount/noise_model.hpp"

namespace polewright::mount_detail {

/// information · step = moment, for (φ of each frame, lens). Shared errors are eliminated star by star, so that they
/// cancel between frames where a star stays on the same pixels and count in full where it does not.
struct NormalEquations {
  Eigen::MatrixXd information;
  Eigen::VectorXd moment;
};

/// Cost: linear in stars × frames for the sums, plus (3 × frames)² per star for the shared errors.
[[nodiscard]] NormalEquations sum_normal_equations(const StarData& data, const Terms& terms, const NoiseModel& noise,
                                                   bool final_weights);

}  // namespace polewright::mount_detail
