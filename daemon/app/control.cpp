#include "app/control.h"

#include <pwd.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/time.h>
#include <sys/un.h>
#include <unistd.h>

#include <array>
#include <boost/asio/buffer.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/read_until.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/streambuf.hpp>
#include <boost/asio/write.hpp>
#include <cerrno>
#include <chrono>
#include <cstring>
#include <istream>
#include <system_error>
#include <utility>

namespace baskwell {
namespace {

namespace asio = boost::asio;
using Local = asio::local::stream_protocol;

constexpr std::size_t largest_request = 16384;
constexpr int most_connections = 32;
constexpr std::chrono::seconds connection_limit{10};

std::string peer_name(Local::socket& socket) {
  ucred who{};
  socklen_t size = sizeof(who);
  if (getsockopt(socket.native_handle(), SOL_SOCKET, SO_PEERCRED, &who, &size) != 0) return {};
  passwd entry{};
  passwd* found = nullptr;
  std::array<char, 4096> space{};
  if (getpwuid_r(who.uid, &entry, space.data(), space.size(), &found) == 0 && found != nullptr)
    return found->pw_name;
  return "user " + std::to_string(who.uid);
}

// One connection: read a line, answer a line, close. Keeps itself alive by the handlers it waits for.
class Session : public std::enable_shared_from_this<Session> {
 public:
  Session(Local::socket socket, const ControlHandler& handler, std::shared_ptr<int> open)
      : socket_(std::move(socket)),
        deadline_(socket_.get_executor()),
        request_(largest_request),
        handler_(handler),
        open_(std::move(open)) {}

  void start() {
    deadline_.expires_after(connection_limit);
    deadline_.async_wait([self = shared_from_this()](boost::system::error_code error) {
      if (!error) self->socket_.close(error);
    });
    asio::async_read_until(socket_, request_, '\n',
                           [self = shared_from_this()](boost::system::error_code error, std::size_t) {
                             if (error) return self->end();
                             std::istream in(&self->request_);
                             std::string line;
                             std::getline(in, line);
                             self->handler_(line, peer_name(self->socket_),
                                            [self](std::string answer) { self->reply(std::move(answer)); });
                           });
  }

 private:
  void reply(std::string answer) {
    answer_ = std::move(answer) + "\n";
    asio::async_write(socket_, asio::buffer(answer_),
                      [self = shared_from_this()](boost::system::error_code, std::size_t) { self->end(); });
  }
  void end() { deadline_.cancel(); }

  Local::socket socket_;
  asio::steady_timer deadline_;
  asio::streambuf request_;
  std::string answer_;
  const ControlHandler& handler_;
  std::shared_ptr<int> open_;  // its use count is the number of open sessions
};

// A socket file that nobody listens on is left from a crash and may go.
bool is_stale(const std::filesystem::path& path) {
  asio::io_context io;
  Local::socket probe(io);
  boost::system::error_code error;
  probe.connect(Local::endpoint(path.string()), error);
  return error == boost::system::errc::connection_refused;
}

}  // namespace

struct ControlServer::Inner : std::enable_shared_from_this<ControlServer::Inner> {
  Inner(asio::io_context& io, std::filesystem::path the_path, ControlHandler the_handler)
      : path(std::move(the_path)), handler(std::move(the_handler)), acceptor(io) {}

  void accept() {
    acceptor.async_accept([self = shared_from_this()](boost::system::error_code error, Local::socket socket) {
      if (!self->acceptor.is_open()) return;
      if (!error && self->open.use_count() <= most_connections) {
        std::make_shared<Session>(std::move(socket), self->handler, self->open)->start();
      }
      self->accept();
    });
  }

  std::filesystem::path path;
  ControlHandler handler;
  Local::acceptor acceptor;
  std::shared_ptr<int> open = std::make_shared<int>(0);
};

ControlServer::ControlServer(std::shared_ptr<Inner> inner) : inner_(std::move(inner)) {}

Result<std::unique_ptr<ControlServer>> ControlServer::open(asio::io_context& io,
                                                           const std::filesystem::path& path,
                                                           ControlHandler handler) {
  std::error_code file_error;
  std::filesystem::create_directories(path.parent_path(), file_error);
  if (path.string().size() >= sizeof(sockaddr_un{}.sun_path)) {
    return Error{path.string() + ": the path of the socket is too long, at most 107 bytes"};
  }
  if (std::filesystem::exists(path, file_error)) {
    if (!is_stale(path)) return Error{path.string() + ": another daemon listens here already"};
    std::filesystem::remove(path, file_error);
  }
  auto inner = std::make_shared<Inner>(io, path, std::move(handler));
  boost::system::error_code error;
  inner->acceptor.open(Local(), error);
  // Nobody may connect between bind and chmod.
  const mode_t before = umask(0177);
  if (!error) inner->acceptor.bind(Local::endpoint(path.string()), error);
  umask(before);
  if (!error) inner->acceptor.listen(most_connections, error);
  if (error) return Error{path.string() + ": cannot listen here: " + error.message()};
  std::filesystem::permissions(path, static_cast<std::filesystem::perms>(0660), file_error);
  inner->accept();
  return std::unique_ptr<ControlServer>(new ControlServer(std::move(inner)));
}

ControlServer::~ControlServer() {
  boost::system::error_code error;
  inner_->acceptor.close(error);
  std::error_code file_error;
  std::filesystem::remove(inner_->path, file_error);
}

Result<std::string> ask_daemon(const std::filesystem::path& path, const std::string& request) {
  asio::io_context io;
  Local::socket socket(io);
  boost::system::error_code error;
  socket.connect(Local::endpoint(path.string()), error);
  if (error) {
    return Error{path.string() + ": no daemon answers here (" + error.message() +
                 "); is `baskwell run` up, and is this its socket?"};
  }
  const timeval limit{connection_limit.count(), 0};
  setsockopt(socket.native_handle(), SOL_SOCKET, SO_RCVTIMEO, &limit, sizeof(limit));
  asio::write(socket, asio::buffer(request + "\n"), error);
  std::string answer;
  std::array<char, 65536> part{};
  while (!error) {
    const ssize_t got = ::read(socket.native_handle(), part.data(), part.size());
    if (got <= 0) break;
    answer.append(part.data(), static_cast<std::size_t>(got));
  }
  if (answer.empty() || answer.back() != '\n')
    return Error{path.string() + ": the daemon did not answer within 10 s"};
  answer.pop_back();
  return answer;
}

}  // namespace baskwell
