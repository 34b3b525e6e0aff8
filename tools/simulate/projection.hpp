// Where a direction in front of the camera falls on the frame, and back.
#pragma once

#include <optional>

#include "polewright/geometry.hpp"
#include "simulate/scene.hpp"

namespace polewright::simulate {

/// Pixel of a camera direction (unit length); nothing where the lens forms no image: from 85° off axis for a
/// rectilinear lens, 100° for a fisheye, or where the distortion polynomial turns back.
[[nodiscard]] std::optional<PixelPoint> project(const Lens& lens, Vec<Camera> direction);
/// Direction of a pixel, to 1e-12; nothing outside the image.
[[nodiscard]] std::optional<Vec<Camera>> unproject(const Lens& lens, PixelPoint pixel);
/// Largest angle from the optical axis of any point of the frame (or of the image, when that ends sooner).
[[nodiscard]] Angle frame_radius(const Lens& lens);
/// Widest angle from the axis at which the lens forms an image.
[[nodiscard]] Angle image_limit(const Lens& lens);

/// Radius of the image circle, pixels from the principal point.
[[nodiscard]] double image_circle_px(const Lens& lens);

}  // namespace polewright::simulate
