#include "mount/star_data.hpp"

#include <Eigen/LU>
#include <Eigen/SVD>
#include <unordered_map>

#include "base/parallel.hpp"
#include "mount/linear.hpp"

namespace polewright::mount_detail {
namespace {

// Below this a sigma claims more than pixels can hold (photon statistics of a star at full well); keeps weights finite.
constexpr double kSmallestSigma_px = 0.002;
// Distortion left over is smooth: over this distance it changes by a few percent of its size at most.
constexpr double kSamePixels_px = 40.0;

/// Rotation that best takes the frame's start attitude over to observed places near the middle of the frame.
Eigen::Matrix3d start_attitude(const MountFrame& frame, const SkyAt& sky) {
  Eigen::Matrix3d sum = Eigen::Matrix3d::Zero();
  for (const auto& [x, y] : {std::pair{0.05, 0.05}, {0.05, -0.05}, {-0.05, 0.05}, {-0.05, -0.05}}) {
    const Vec<Camera> d = Vec<Camera>{x, y, 1.0}.unit();
    const Vec<Enu> place = sky.observed(frame.camera_from_icrs.inverse() * d);
    sum += to_eigen(d) * to_eigen(place).transpose();
  }
  const Eigen::JacobiSVD<Eigen::Matrix3d> svd(sum, Eigen::ComputeFullU | Eigen::ComputeFullV);
  Eigen::Vector3d sign(1.0, 1.0, (svd.matrixU() * svd.matrixV().transpose()).determinant());
  return svd.matrixU() * sign.asDiagonal() * svd.matrixV().transpose();
}

std::vector<Observation> observe(const MountFrame& frame, const SkyAt& sky, std::vector<std::uint32_t>& catalogue) {
  std::vector<Observation> out;
  out.reserve(frame.stars.size());
  for (const MountStar& star : frame.stars) {
    Observation o;
    o.measured_px = {star.measured.x, star.measured.y};
    const double floor = kSmallestSigma_px * kSmallestSigma_px;
    Eigen::Matrix2d cov;
    cov << star.measured_cov.xx + floor, star.measured_cov.xy, star.measured_cov.xy, star.measured_cov.yy + floor;
    if (!o.measured_px.allFinite() || !cov.allFinite() || cov(0, 0) <= 0.0 || cov.determinant() <= 0.0) continue;
    o.information = cov.inverse();
    o.place_in_enu = to_eigen(sky.observed(star.direction));
    out.push_back(o);
    catalogue.push_back(star.catalogue);
  }
  return out;
}

/// Numbers the shared errors: a star keeps its number while it stays within kSamePixels_px of where it first had it.
void number_commons(StarData& data, const std::vector<std::vector<std::uint32_t>>& catalogue) {
  struct Held {
    Eigen::Vector2d place_px;
    std::uint32_t number;
    std::size_t last_frame;
  };
  std::unordered_map<std::uint32_t, std::vector<Held>> held;
  std::uint32_t next = 0;
  for (std::size_t f = 0; f < data.frames.size(); ++f)
    for (std::size_t i = 0; i < data.frames[f].size(); ++i) {
      Observation& o = data.frames[f][i];
      o.common = next;
      if (catalogue[f][i] != kNotInCatalogue) {
        auto& places = held[catalogue[f][i]];
        const auto same = std::find_if(places.begin(), places.end(), [&](const Held& h) {
          return h.last_frame != f && (h.place_px - o.measured_px).norm() < kSamePixels_px;
        });
        if (same != places.end()) {
          o.common = same->number;
          same->last_frame = f;
          continue;
        }
        places.push_back({o.measured_px, next, f});
      }
      ++next;
    }
  data.commons = next;
}

}  // namespace

StarData prepare_stars(const MountProblem& problem, int threads) {
  const std::size_t n = problem.frames.size();
  StarData data;
  data.frames.resize(n);
  data.start_camera_from_enu.resize(n);
  std::vector<std::vector<std::uint32_t>> catalogue(n);
  parallel_for(n, threads, [&](std::size_t f) {
    const SkyAt sky(problem.frames[f].mid_time, problem.site, problem.weather);
    data.frames[f] = observe(problem.frames[f], sky, catalogue[f]);
    data.start_camera_from_enu[f] = start_attitude(problem.frames[f], sky);
  });
  number_commons(data, catalogue);
  return data;
}

}  // namespace polewright::mount_detail
