// Readers of the published catalogues the star table is made from.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "polewright/geometry.hpp"

namespace polewright::build {

struct SourceStar {
  Vec<Icrs> direction;
  double magnitude = 0.0;
  int hipparcos = 0;  ///< 0 for Tycho-2 stars
};

/// Proper motion in mas per year, right ascension times cos(declination).
struct ProperMotion {
  double ra_cosdec = 0.0, dec = 0.0;
};

/// Throw std::runtime_error on files of another layout.
std::vector<SourceStar> read_hipparcos(const std::string& path);
std::vector<SourceStar> read_tycho2(const std::string& path);
/// Name by Hipparcos number: the common name, else Bayer letter or Flamsteed number with the constellation.
std::map<int, std::string> read_names(const std::string& path);
/// By Hipparcos number.
std::map<int, ProperMotion> proper_motions();

}  // namespace polewright::build
