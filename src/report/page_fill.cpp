#include <cassert>

#include "report/page_template.hpp"

namespace polewright::report {
namespace {

std::string as_html_text(const std::string& text) {
  std::string out;
  for (const char c : text) {
    if (c == '&')
      out += "&amp;";
    else if (c == '<')
      out += "&lt;";
    else if (c == '>')
      out += "&gt;";
    else if (c != '\0')  // not a character of HTML
      out += c;
  }
  return out;
}

/// In JSON '<' occurs inside strings only, where the escape means the same: no "</script" or "<!--" can appear.
std::string as_script_data(const std::string& json) {
  std::string out;
  out.reserve(json.size());
  for (const char c : json) {
    if (c == '<')
      out += "\\u003c";
    else
      out += c;
  }
  return out;
}

}  // namespace

std::string fill_page(const PageContent& content) {
  const std::pair<std::string_view, std::string> slots[] = {{"@PLAIN@", as_html_text(content.plain)},
                                                            {"@RESULT@", as_script_data(content.result)},
                                                            {"@EVIDENCE@", as_script_data(content.evidence)}};
  const std::string_view page = page_template();
  std::string out;
  out.reserve(page.size() + content.plain.size() + content.result.size() + content.evidence.size());
  std::size_t from = 0;
  for (const auto& [slot, text] : slots) {
    const std::size_t at = page.find(slot, from);
    assert(at != std::string_view::npos);
    out.append(page.substr(from, at - from)).append(text);
    from = at + slot.size();
  }
  return out.append(page.substr(from));
}

}  // namespace polewright::report
