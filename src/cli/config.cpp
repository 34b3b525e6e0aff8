#include <fmt/format.h>
#include <toml++/toml.h>

#include <cstdlib>
#include <filesystem>
#include <set>
#include <sstream>

#include "cli/options.hpp"

namespace polewright::cli {
namespace {

std::filesystem::path default_config() {
  if (const char* xdg = std::getenv("XDG_CONFIG_HOME"); xdg != nullptr && *xdg != '\0')
    return std::filesystem::path(xdg) / "polewright/config.toml";
  if (const char* home = std::getenv("HOME"); home != nullptr)
    return std::filesystem::path(home) / ".config/polewright/config.toml";
  return {};
}

/// Reads one table after another and remembers the first thing that was wrong.
class Reader {
 public:
  Reader(const toml::table& table, std::string file) : table_(table), file_(std::move(file)) {}

  void number(const char* section, const char* key, double low, double high, std::optional<double>& out) {
    const auto node = table_[section][key];
    if (!node) return;
    const auto v = node.value<double>();
    if (!v || !(*v >= low && *v <= high)) {
      complain(fmt::format("[{}] {} is not a number from {:g} to {:g}", section, key, low, high));
      return;
    }
    out = *v;
  }

  void text(const char* section, const char* key, std::optional<std::string>& out) {
    const auto node = table_[section][key];
    if (!node) return;
    out = node.value<std::string>();
    if (!out) complain(fmt::format("[{}] {} is not a text in quotes", section, key));
  }

  void complain(const std::string& what) {
    if (!error_)
      error_ =
          Error{ErrorCode::config_invalid, file_, what, "the keys listed in README.md", "Correct or remove that line"};
  }

  void known_keys(const std::set<std::string>& known) {
    for (const auto& [section, node] : table_) {
      if (!node.is_table()) {
        complain(fmt::format("{} stands outside a section", section.str()));
        continue;
      }
      for (const auto& [key, value] : *node.as_table()) {
        const std::string name = fmt::format("{}.{}", section.str(), key.str());
        if (!known.contains(name)) complain(fmt::format("{} is not a known key", name));
      }
    }
  }

  [[nodiscard]] const std::optional<Error>& error() const { return error_; }

 private:
  const toml::table& table_;
  std::string file_;
  std::optional<Error> error_;
};

SessionOptions from_table(Reader& in, const std::string& file) {
  SessionOptions o;
  const std::string source = "config " + file;
  in.known_keys({"site.place", "camera.focal_mm", "camera.pitch_um", "camera.utc_offset", "shoot.exposure_s",
                 "shoot.tolerance_px", "base.rim_radius_mm", "base.altitude_degrees_per_screw_turn",
                 "base.azimuth_degrees_per_screw_turn", "air.pressure_hpa", "air.temperature_c"});
  std::optional<std::string> place, offset;
  std::optional<double> focal, pitch, tolerance, temperature;
  in.text("site", "place", place);
  in.text("camera", "utc_offset", offset);
  in.number("camera", "focal_mm", 1.0, 5000.0, focal);
  in.number("camera", "pitch_um", 0.3, 100.0, pitch);
  in.number("shoot", "exposure_s", 0.001, 86400.0, o.exposure_s);
  in.number("shoot", "tolerance_px", 0.01, 1000.0, tolerance);
  in.number("base", "rim_radius_mm", 1.0, 1000.0, o.base.rim_radius_mm);
  in.number("base", "altitude_degrees_per_screw_turn", 0.001, 90.0, o.base.altitude_per_screw_turn_deg);
  in.number("base", "azimuth_degrees_per_screw_turn", 0.001, 90.0, o.base.azimuth_per_screw_turn_deg);
  in.number("air", "pressure_hpa", 300.0, 1100.0, o.weather.pressure_hpa);
  in.number("air", "temperature_c", -60.0, 60.0, temperature);
  if (focal) o.focal_mm = {*focal, source};
  if (pitch) o.pitch_um = {*pitch, source};
  if (tolerance) o.tolerance_px = *tolerance;
  if (temperature) o.weather.temperature_c = *temperature;
  if (place) {
    const Result<Site> site = parse_site(*place);
    if (site)
      o.site = {*site, source};
    else
      in.complain("[site] place: " + site.error().found);
  }
  if (offset) {
    const Result<int> seconds = parse_utc_offset(*offset);
    if (seconds)
      o.utc_offset_s = *seconds;
    else
      in.complain("[camera] utc_offset: " + seconds.error().found);
  }
  return o;
}

}  // namespace

Result<SessionOptions> read_config(const std::string& path_or_empty) {
  const std::filesystem::path path = path_or_empty.empty() ? default_config() : std::filesystem::path(path_or_empty);
  std::error_code ignored;
  if (path.empty() || !std::filesystem::is_regular_file(path, ignored)) {
    if (path_or_empty.empty()) return SessionOptions{};
    return Error{ErrorCode::file_missing, path_or_empty, "no such config file", "a TOML file",
                 "Check the name after --config"};
  }
  try {
    const toml::table table = toml::parse_file(path.string());
    Reader reader(table, path.string());
    SessionOptions options = from_table(reader, path.filename().string());
    if (reader.error()) return *reader.error();
    return options;
  } catch (const toml::parse_error& e) {
    return Error{ErrorCode::config_invalid, path.string(),
                 fmt::format("line {}: {}", e.source().begin.line, e.description()), "a TOML file",
                 "Correct that line"};
  }
}

}  // namespace polewright::cli
