// Cramér–Rao bound of a star's or a trail's parameters, from the Fisher information summed over pixels, with numerical
// derivatives of the rendered image. The bound is for one unbiased measurement with Poisson light and normal noise.
#pragma once

#include <Eigen/Dense>
#include <cmath>
#include <vector>

#include "truth/stars/render.hpp"

namespace polewright::test {

/// What is unknown: position always; width and trail (tx, ty) when asked for. Flux and sky are always unknown.
struct BoundOptions {
  double background_noise = 10.0;  ///< per pixel, electrons: sky and read noise together
  bool photon_noise = true;
  bool width_unknown = true;
  bool trail_unknown = false;
};

/// Covariance in the order x, y, flux (one per colour), sky, [width], [tx, ty].
inline Eigen::MatrixXd image_bound(const RenderedStar& star, const BoundOptions& o, const Mosaic& mosaic = {}) {
  RenderOptions box;
  const double reach = (star.parts.size() > 1 ? 16.0 : 8.0) * star.sigma_px + 2.0;
  box.width = static_cast<int>(2 * reach + std::abs(star.trail_x_px)) | 1;
  box.height = static_cast<int>(2 * reach + std::abs(star.trail_y_px)) | 1;
  box.mosaic = mosaic;
  box.sky_electrons = 0.0;
  RenderedStar centred = star;
  centred.x = box.width / 2 + (star.x - std::round(star.x));
  centred.y = box.height / 2 + (star.y - std::round(star.y));
  const auto image = [&](const RenderedStar& s) {
    const auto e = expected_electrons({s}, box);
    return Eigen::VectorXd(Eigen::Map<const Eigen::VectorXd>(e.data(), static_cast<Eigen::Index>(e.size())));
  };
  std::vector<Eigen::VectorXd> columns;
  const auto derive = [&](double RenderedStar::*member, double h) {
    RenderedStar a = centred, b = centred;
    a.*member -= h;
    b.*member += h;
    columns.emplace_back((image(b) - image(a)) / (2.0 * h));
  };
  derive(&RenderedStar::x, 1e-3);
  derive(&RenderedStar::y, 1e-3);
  const Eigen::VectorXd middle = image(centred);
  if (mosaic.is_colour()) {
    for (std::size_t c = 0; c < 3; ++c) {
      RenderedStar one = centred;
      one.colour = {0.0, 0.0, 0.0};
      one.colour[c] = 1.0 / star.electrons;
      columns.push_back(image(one));
    }
  } else {
    columns.emplace_back(middle / star.electrons);
  }
  columns.emplace_back(Eigen::VectorXd::Ones(middle.size()));
  if (o.width_unknown) derive(&RenderedStar::sigma_px, 1e-3);
  if (o.trail_unknown) {
    derive(&RenderedStar::trail_x_px, 1e-2);
    derive(&RenderedStar::trail_y_px, 1e-2);
  }
  const auto n = static_cast<Eigen::Index>(columns.size());
  Eigen::VectorXd weight = Eigen::VectorXd::Constant(middle.size(), o.background_noise * o.background_noise);
  if (o.photon_noise) weight += middle;
  weight = weight.cwiseInverse();
  Eigen::MatrixXd fisher(n, n);
  for (Eigen::Index i = 0; i < n; ++i)
    for (Eigen::Index j = 0; j < n; ++j)
      fisher(i, j) =
          (columns[static_cast<std::size_t>(i)].array() * weight.array() * columns[static_cast<std::size_t>(j)].array())
              .sum();
  const Eigen::VectorXd scale = fisher.diagonal().cwiseSqrt().cwiseInverse();
  const Eigen::MatrixXd scaled = scale.asDiagonal() * fisher * scale.asDiagonal();
  return scale.asDiagonal() * scaled.inverse() * scale.asDiagonal();
}

}  // namespace polewright::test
