#include "cli/options.hpp"

#include <charconv>

namespace polewright::cli {
namespace {

Error invalid(const std::string& option, const std::string& found, const std::string& expected) {
  return {ErrorCode::option_invalid, "", option + " is '" + found + "'", expected, ""};
}

}  // namespace

Result<int> parse_utc_offset(const std::string& text) {
  const Error error = invalid("the offset from UTC", text, "±HH:MM between -12:00 and +14:00, for example +02:00");
  if (text == "Z" || text == "z" || text == "UTC") return 0;
  std::size_t at = 0;
  int sign = 1;
  if (at < text.size() && (text[at] == '+' || text[at] == '-')) sign = text[at++] == '-' ? -1 : 1;
  const auto digits = [&](int& out) {
    const std::size_t from = at;
    while (at < text.size() && at - from < 2 && text[at] >= '0' && text[at] <= '9') ++at;
    return at > from && std::from_chars(text.data() + from, text.data() + at, out).ec == std::errc{};
  };
  int hours = 0, minutes = 0;
  if (!digits(hours)) return error;
  if (at < text.size()) {
    if (text[at] == ':') ++at;
    if (!digits(minutes)) return error;
  }
  const int seconds = sign * (hours * 3600 + minutes * 60);
  if (at != text.size() || minutes > 59 || seconds < -12 * 3600 || seconds > 14 * 3600) return error;
  return seconds;
}

Result<SessionOptions> session_options(const Typed& typed) {
  Result<SessionOptions> config = read_config(typed.config_file);
  if (!config) return config.error();
  SessionOptions o = std::move(*config);
  if (!typed.site.empty()) {
    const Result<Site> site = parse_site(typed.site);
    if (!site) return site.error();
    o.site = {*site, "option --site"};
  }
  if (!typed.utc_offset.empty()) {
    const Result<int> offset = parse_utc_offset(typed.utc_offset);
    if (!offset) return offset.error();
    o.utc_offset_s = *offset;
  }
  if (typed.pole == "true") o.pole = ReferencePole::true_pole;
  if (typed.focal_mm) o.focal_mm = {*typed.focal_mm, "option --focal"};
  if (typed.pitch_um) o.pitch_um = {*typed.pitch_um, "option --pitch"};
  if (typed.exposure_s) o.exposure_s = typed.exposure_s;
  if (typed.tolerance_px) o.tolerance_px = *typed.tolerance_px;
  if (typed.pressure_hpa) o.weather.pressure_hpa = typed.pressure_hpa;
  if (typed.temperature_c) o.weather.temperature_c = *typed.temperature_c;
  o.threads = typed.threads;
  o.pictures = !typed.report_file.empty() || !typed.overlay_file.empty();
  return o;
}

}  // namespace polewright::cli
