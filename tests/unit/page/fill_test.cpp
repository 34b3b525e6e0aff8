#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <string>

#include "polewright/page.hpp"
#include "report/page_evidence.hpp"
#include "report/page_template.hpp"
#include "support/sample_report.hpp"

using namespace polewright;

namespace {

std::size_t count(const std::string& text, const std::string& what) {
  std::size_t n = 0;
  for (std::size_t at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++n;
  return n;
}

std::string between(const std::string& text, const std::string& open, const std::string& close) {
  const auto from = text.find(open) + open.size();
  return text.substr(from, text.find(close, from) - from);
}

}  // namespace

TEST_CASE("content can neither end its element nor become markup") {
  const std::string clean = report::fill_page({"words", "{}", "{}"});
  const std::string nasty = "</script><!--<script></pre><b>\"'&";
  const std::string json = nlohmann::json{{"name", nasty}}.dump();
  const std::string page = report::fill_page({nasty, json, json});
  // HTML Living Standard, 4.12.1.3: "</script", "<script" and "<!--" are what must not occur inside a script element
  for (const char* mark : {"</script", "<script", "<!--", "</pre", "<b>"})
    CHECK(count(page, mark) == count(clean, mark));
  CHECK(nlohmann::json::parse(between(page, "id=\"result\">", "</script>")) == nlohmann::json::parse(json));
  CHECK(between(page, "<pre id=\"plain\">", "</pre>") ==
        "&lt;/script&gt;&lt;!--&lt;script&gt;&lt;/pre&gt;&lt;b&gt;\"'&amp;");
}

TEST_CASE("content that looks like a slot stays content") {
  const std::string page =
      report::fill_page({"@RESULT@ @EVIDENCE@", "{\"a\": \"@EVIDENCE@\"}", "{\"b\": \"@PLAIN@\"}"});
  CHECK(between(page, "<pre id=\"plain\">", "</pre>") == "@RESULT@ @EVIDENCE@");
  CHECK(between(page, "id=\"result\">", "</script>") == "{\"a\": \"@EVIDENCE@\"}");
  CHECK(between(page, "id=\"evidence\">", "</script>") == "{\"b\": \"@PLAIN@\"}");
}

TEST_CASE("the page asks nothing of a network and allows no script but its own") {
  const std::string page = align_page(test::sample_report());
  const std::string policy = between(page, "Content-Security-Policy\" content=\"", "\">");
  CHECK(policy.find("default-src 'none'") == 0);
  CHECK(policy.find("unsafe") == std::string::npos);
  CHECK(count(policy, "'sha256-") == 3);  // palette, page, style
  CHECK(count(page, " src=") == 0);
  CHECK(count(page, "<link") == 1);
  CHECK(page.find("<link rel=\"icon\" href=\"data:,\">") != std::string::npos);
  CHECK(page.find("Permission is hereby granted, free of charge") !=
        std::string::npos);  // the charts' licence goes along
}

TEST_CASE("the JSON of the command is in the page unchanged, and the page ends where the template does") {
  const AlignReport r = test::sample_report();
  const std::string page = align_page(r);
  CHECK(between(page, "id=\"result\">", "</script>") == align_json(r));
  CHECK(page.ends_with("</html>\n"));
}

TEST_CASE("evidence keeps the brightest thousand marks and counts them all") {
  FrameView view;
  view.width_px = 100;
  view.height_px = 100;
  for (int i = 0; i < 1500; ++i) {
    StarMark m;
    m.kind = i < 700 ? MarkKind::identified : i < 1200 ? MarkKind::unidentified : MarkKind::flagged;
    view.marks.push_back(m);
  }
  const auto json = report::frame_view_json(view);
  CHECK(json["marks"].size() == 1000);
  CHECK(json["counts"] == report::Json{{"identified", 700}, {"unidentified", 500}, {"flagged", 300}});
  CHECK(json["picture"].is_null());
}
