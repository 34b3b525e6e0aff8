// Fan: a star and three of its neighbours, the pattern stars are recognised by.
//
// Seen from the anchor, the neighbours at increasing distance are complex numbers p1, p2, p3. The quotients p1/p3 and
// p2/p3 do not change when the picture is shifted, turned or scaled, and both lie in the unit disk: four numbers that
// name the fan. A mirrored picture gives the conjugates.
#pragma once

#include <array>
#include <cmath>
#include <complex>

#include "polewright/geometry.hpp"

namespace polewright {

/// Real and imaginary parts of p1/p3 and p2/p3, each in [−1, 1].
using FanCode = std::array<double, 4>;

/// Places relative to the anchor, ordered by distance; `far` must not be 0.
[[nodiscard]] inline FanCode fan_code(std::complex<double> near, std::complex<double> middle,
                                      std::complex<double> far) {
  const std::complex<double> a = near / far, b = middle / far;
  return {a.real(), a.imag(), b.real(), b.imag()};
}

/// Stereographic map of the directions around a centre onto the complex plane, in radians at the centre. It keeps
/// shapes, so a fan has the same code wherever in the field it lies. Seen from inside the sphere, right-handed: for the
/// camera's own axis the plane is the picture's (x right, y down).
template <class F>
class ShapePlane {
 public:
  explicit ShapePlane(Vec<F> centre) : centre_(centre) {
    const Vec<F> helper = std::abs(centre.x) < 0.6 ? Vec<F>{1, 0, 0} : Vec<F>{0, 1, 0};
    u_ = (helper - centre * helper.dot(centre)).unit();
    v_ = centre.cross(u_);
  }
  [[nodiscard]] std::complex<double> operator()(Vec<F> d) const {
    const double scale = 2.0 / (1.0 + centre_.dot(d));
    return {scale * u_.dot(d), scale * v_.dot(d)};
  }

 private:
  Vec<F> centre_, u_, v_;
};

}  // namespace polewright
