// The `email` channel: one message as one e-mail over SMTP (RFC 5321) with TLS, by libcurl.
// smtp:// needs STARTTLS, smtps:// speaks TLS from the start; without either only by allow_plain = true.
// Certificates are always checked. Errors: a 4yz reply or no reply: try again; a 5yz reply, a certificate or
// a password: refused.

#include <sys/socket.h>

#include <algorithm>
#include <charconv>
#include <string>
#include <string_view>
#include <system_error>

#include "baskwell/plugin.hpp"
#include "curl_call.h"
#include "letter.h"

namespace {

using baskwell::channels::Transfer;
using baskwell::plugin::BadSetting;
using baskwell::plugin::Line;
using baskwell::plugin::Settings;

struct Upload {
  std::string_view rest;

  static std::size_t read(char* buffer, std::size_t size, std::size_t count, void* self) {
    std::string_view& rest = static_cast<Upload*>(self)->rest;
    const std::size_t bytes = std::min(size * count, rest.size());
    rest.copy(buffer, bytes);
    rest.remove_prefix(bytes);
    return bytes;
  }
};

// The server's last reply that something is done, and its last refusal.
struct Replies {
  std::string done;
  std::string refusal;

  static std::size_t take(char* data, std::size_t size, std::size_t count, void* self) {
    auto& replies = *static_cast<Replies*>(self);
    constexpr std::size_t reply_bytes_max = 512;  // RFC 5321 4.5.3.1.5
    std::string_view line(data, std::min(size * count, reply_bytes_max));
    line = line.substr(0, line.find_first_of("\r\n"));
    if (line.starts_with("250")) replies.done = line;
    if (line.starts_with('4') || line.starts_with('5')) replies.refusal = line;
    return size * count;
  }
};

// libcurl says QUIT when the handle goes, and would wait two minutes for a server that does not answer it.
// With the reading side shut QUIT still goes out, and its answer is not waited for.
void expect_no_more(const Transfer& transfer) {
  curl_socket_t socket = CURL_SOCKET_BAD;
  if (curl_easy_getinfo(transfer.handle(), CURLINFO_ACTIVESOCKET, &socket) == CURLE_OK &&
      socket != CURL_SOCKET_BAD) {
    ::shutdown(socket, SHUT_RD);
  }
}

// What stands behind "smtp://": a host, "[" and "]" around one with colons, then perhaps a port. libcurl
// would take a colon without a port for the usual one.
bool names_server(std::string_view rest) {
  rest = rest.substr(0, rest.find('/'));
  const std::size_t colon = rest.find(':', rest.starts_with('[') ? rest.find(']') : 0);
  if (rest.substr(0, colon).empty() || rest.substr(0, colon) == "[]") return false;
  if (colon == std::string_view::npos) return true;
  const std::string_view port = rest.substr(colon + 1);
  unsigned number = 0;
  const auto read = std::from_chars(port.data(), port.data() + port.size(), number);
  return read.ec == std::errc() && read.ptr == port.data() + port.size() && number >= 1 && number <= 65535;
}

class Email {
 public:
  explicit Email(const Settings& settings)
      : server_(settings.required("server")),
        user_(settings.text("user")),
        password_(settings.text("password")),
        ca_file_(settings.text("ca_file")),
        from_(settings.required("from")),
        from_name_(settings.text("from_name", "Baskwell")),
        allow_plain_(settings.yes_no("allow_plain", false)) {
    const bool from_start = server_.starts_with("smtps://");
    if (!from_start && !server_.starts_with("smtp://")) {
      throw BadSetting("'server' must begin with smtp:// (STARTTLS) or smtps://");
    }
    if (server_.find('@') != std::string::npos) throw BadSetting("'server' must not hold a user; use 'user'");
    if (!names_server(server_.substr(server_.find("//") + 2)))
      throw BadSetting(
          "'server' must name a host, and a port of 1 to 65535 where there is a colon: smtp://host:587");
    if (!baskwell::channels::is_mail_address(from_))
      throw BadSetting("'from' must be a plain address, name@domain");
    if (user_.empty() != password_.empty()) throw BadSetting("'user' and 'password' go together");
    if (from_start && allow_plain_) throw BadSetting("'allow_plain' has no meaning with smtps://");
    baskwell::channels::start_curl();
  }

  bw_delivery deliver(const bw_message& message, std::uint32_t timeout_ms, Line& answer) const {
    if (!baskwell::channels::is_mail_address(message.address)) {
      answer.set("no mail address: ").add_quoted(message.address);
      return BW_REFUSED;
    }
    const std::string letter = baskwell::channels::letter_for(message, from_, from_name_);
    Upload upload{letter};
    Replies replies;
    Transfer transfer(server_, ca_file_, timeout_ms);
    transfer.set(CURLOPT_PROTOCOLS_STR, std::string("smtp,smtps"));
    transfer.set(CURLOPT_USE_SSL, allow_plain_ ? CURLUSESSL_NONE : CURLUSESSL_ALL);
    transfer.set(CURLOPT_MAIL_FROM, "<" + from_ + ">");
    curl_slist* recipients = nullptr;
    transfer.add_to(recipients, "<" + std::string(message.address) + ">");
    if (!user_.empty()) {
      transfer.set(CURLOPT_USERNAME, user_);
      transfer.set(CURLOPT_PASSWORD, password_);
    }
    CURL* curl = transfer.handle();
    curl_easy_setopt(curl, CURLOPT_MAIL_RCPT, recipients);
    curl_easy_setopt(curl, CURLOPT_UPLOAD, 1L);
    curl_easy_setopt(curl, CURLOPT_READFUNCTION, &Upload::read);
    curl_easy_setopt(curl, CURLOPT_READDATA, &upload);
    curl_easy_setopt(curl, CURLOPT_HEADERFUNCTION, &Replies::take);
    curl_easy_setopt(curl, CURLOPT_HEADERDATA, &replies);
    const CURLcode code = transfer.run();
    expect_no_more(transfer);
    return told(transfer, code, replies, answer);
  }

 private:
  static bw_delivery told(const Transfer& transfer, CURLcode code, const Replies& replies, Line& answer) {
    if (code == CURLE_OK) {
      answer.set(replies.done);
      return BW_DELIVERED;
    }
    // A timeout is no refusal, even if the server refused one of several ways to log in before.
    if (code != CURLE_OPERATION_TIMEDOUT && !replies.refusal.empty()) {
      answer.set(replies.refusal);
      return replies.refusal[0] == '5' ? BW_REFUSED : BW_TRY_AGAIN;
    }
    answer.set(transfer.cause(code));
    return baskwell::channels::delivery_of(code);
  }

  std::string server_;
  std::string user_;
  std::string password_;
  std::string ca_file_;
  std::string from_;
  std::string from_name_;
  bool allow_plain_;
};

constexpr const char* keys[] = {"server", "user",      "password",    "ca_file",
                                "from",   "from_name", "allow_plain", nullptr};
constexpr bw_plugin description = {
    BASKWELL_PLUGIN_INTERFACE, "email", "1.0", keys, nullptr, &baskwell::plugin::channel_functions<Email>};

}  // namespace

extern "C" const bw_plugin* baskwell_plugin(uint32_t host_interface) {
  return baskwell::plugin::answer(description, host_interface);
}
