// Scene files: TOML tables into the option structs. Every key is optional, every unknown key is an error.
#include "simulate/scene_keys.hpp"

namespace polewright::simulate {
namespace {

/// Lays `over` onto `base`: tables merge, anything else replaces.
void merge(toml::table& base, const toml::table& over) {
  for (const auto& [key, node] : over) {
    auto* mine = base.get_as<toml::table>(key.str());
    if (mine != nullptr && node.is_table()) {
      merge(*mine, *node.as_table());
    } else {
      node.visit([&, name = key.str()](const auto& value) { base.insert_or_assign(name, value); });
    }
  }
}

void read_all(Keys& k, SceneFile& out) {
  k.text("name", out.name);
  k.text("format", out.format);
  k.number("faintest", out.faintest);
  k.flag("random_stars", out.random_stars);
  double zone_hours = 0.0;
  if (k.has("zone_hours")) {
    k.number("zone_hours", zone_hours);
    out.zone_offset_s = static_cast<int>(zone_hours * 3600.0);
  }
  read_scene(k, out.scene);
  read_render(k, out.render);
  k.finish();
}

}  // namespace

Result<SceneFile> parse_scene(const std::string& toml_text, const std::string& file_name,
                              std::span<const std::string> overrides) {
  SceneFile out;
  try {
    toml::table table = toml::parse(toml_text, file_name);
    for (const std::string& line : overrides) merge(table, toml::parse(line, line));
    Keys keys(table, "");
    read_all(keys, out);
  } catch (const toml::parse_error& e) {
    return Error{ErrorCode::config_invalid, file_name,
                 fmt::format("{} in line {}", e.description(), e.source().begin.line), "a scene in TOML", ""};
  } catch (const Refused& r) {
    return Error{ErrorCode::config_invalid, file_name, r.found, r.expected, ""};
  }
  for (const std::string& fault : {out.scene.validate(), out.render.detector.validate()})
    if (!fault.empty()) return Error{ErrorCode::config_invalid, file_name, fault, "a value in that range", ""};
  return out;
}

}  // namespace polewright::simulate
