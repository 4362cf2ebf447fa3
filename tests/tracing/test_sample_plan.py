"""Whoever has no plan at hand tries the one that comes with the program."""

from tests.tracing.conftest import Serve, Served


def test_the_sample_plan_is_opened_and_kept_where_the_command_ran(served: Serve) -> None:
    async def test(server: Served) -> None:
        answer = await server.client.post("/api/open", json={"sample": True})

        assert answer.status_code == 200, answer.text
        view = (await server.client.get(f"/api/job/{answer.json()['key']}")).json()
        assert view["source"]["file"] == "plan_photo.jpg"
        assert view["folder"] == str(server.desk.places.folder / "plan_photo-scantling")

    served(test)


def test_anything_else_than_yes_is_no_sample(served: Serve) -> None:
    async def test(server: Served) -> None:
        answer = await server.client.post("/api/open", json={"sample": "no"})

        assert answer.status_code == 422

    served(test)
