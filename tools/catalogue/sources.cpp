#include "sources.hpp"

#include <fitsio.h>

#include <fstream>
#include <nlohmann/json.hpp>
#include <stdexcept>

namespace polewright::build {

std::vector<SourceStar> read_hipparcos(const std::string& path) {
  std::vector<SourceStar> stars;
  const auto table = nlohmann::json::parse(std::ifstream(path));
  for (const auto& feature : table.at("features")) {
    const auto& place = feature.at("geometry").at("coordinates");
    SourceStar s;
    s.direction = icrs_from_equatorial(Angle::deg(place.at(0).get<double>()), Angle::deg(place.at(1).get<double>()));
    s.magnitude = feature.at("properties").at("mag").get<double>();
    s.hipparcos = feature.at("id").get<int>();
    stars.push_back(s);
  }
  return stars;
}

std::vector<SourceStar> read_tycho2(const std::string& path) {
  // Directions are unit vectors stored as unsigned numbers, offset −1; the 8- and 12-byte text columns of the file hold
  // binary numbers, so they are read as raw bytes.
  constexpr int kPlaceHdu = 12, kMagnitudeHdu = 14;  // counted from 1, as cfitsio does
  constexpr double kScale = 2147483647.5;
  fitsfile* file = nullptr;
  int status = 0;
  long rows = 0, magnitudes = 0;
  fits_open_file(&file, path.c_str(), READONLY, &status);
  fits_movabs_hdu(file, kPlaceHdu, nullptr, &status);
  fits_get_num_rows(file, &rows, &status);
  std::vector<std::uint32_t> place(static_cast<std::size_t>(rows) * 3);
  fits_read_tblbytes(file, 1, 1, rows * 12, reinterpret_cast<unsigned char*>(place.data()), &status);
  fits_movabs_hdu(file, kMagnitudeHdu, nullptr, &status);
  fits_get_num_rows(file, &magnitudes, &status);
  std::vector<float> magnitude(static_cast<std::size_t>(rows));
  if (magnitudes != rows) status = status != 0 ? status : BAD_DIMEN;
  fits_read_col(file, TFLOAT, 1, 1, 1, rows, nullptr, magnitude.data(), nullptr, &status);
  if (file != nullptr) {
    int ignored = 0;
    fits_close_file(file, &ignored);
  }
  if (status != 0)
    throw std::runtime_error(path + ": not the expected Tycho-2 file, cfitsio status " + std::to_string(status));
  std::vector<SourceStar> stars;
  for (std::size_t i = 0; i < magnitude.size(); ++i) {
    const Vec<Icrs> d{place[3 * i] / kScale - 1.0, place[3 * i + 1] / kScale - 1.0, place[3 * i + 2] / kScale - 1.0};
    if (std::abs(d.norm() - 1.0) > 1e-6) throw std::runtime_error(path + ": a direction is not a unit vector");
    stars.push_back({d.unit(), magnitude[i], 0});
  }
  return stars;
}

std::map<int, std::string> read_names(const std::string& path) {
  std::map<int, std::string> names;
  const auto table = nlohmann::json::parse(std::ifstream(path));
  for (const auto& [number, entry] : table.items()) {
    const auto text = [&](const char* key) { return entry.value(key, std::string()); };
    std::string name = text("name");
    if (name.empty() && !text("c").empty()) {
      const std::string letter = text("bayer").empty() ? text("flam") : text("bayer");
      if (!letter.empty()) name = letter + " " + text("c");
    }
    if (!name.empty()) names.emplace(std::stoi(number), name);
  }
  return names;
}

std::map<int, ProperMotion> proper_motions() {
  return {{11767, {44.48, -11.85}},       // Polaris
          {104382, {26.32, 4.72}},        // σ Octantis
          {69673, {-1093.45, -1999.40}},  // Arcturus
          {32349, {-546.01, -1223.08}},   // Sirius
          {37279, {-716.57, -1034.58}},   // Procyon
          {71683, {-3678.19, 481.84}},    // Rigil Kentaurus
          {91262, {201.02, 287.46}},      // Vega
          {97649, {536.82, 385.54}},      // Altair
          {37826, {-625.69, -45.95}},     // Pollux
          {113368, {329.22, -164.22}},    // Fomalhaut
          {24608, {75.52, -427.13}},      // Capella
          {21421, {62.78, -189.36}},      // Aldebaran
          {57632, {-499.02, -113.78}}};   // Denebola
}

}  // namespace polewright::build
