"""A link from one row of a shop to another: whatever way it is followed, the statement names the shop.

The constraint of a link has the shop in it (`shop.rows.SameShop`), but Django follows a link by the bare key. On one
server that comes to the same. Where shops are spread over machines, a statement without the shop asks all of them.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from django.db import models
from django.db.models.fields.related_descriptors import ForwardManyToOneDescriptor, ReverseManyToOneDescriptor
from django.db.models.lookups import Exact
from django.utils.functional import cached_property


def _of_their_shops(rows: models.QuerySet[Any], instances: Sequence[Any]) -> list[models.QuerySet[Any]]:
    """What is fetched for several rows at once, confined to their shops. Behind a limit nothing can be added."""
    if rows.query.is_sliced:
        return [rows]
    return [rows.filter(shop_id__in={instance.shop_id for instance in instances})]


class _Forward(ForwardManyToOneDescriptor):
    def get_prefetch_querysets(self, instances: Any, querysets: Any = None) -> Any:
        (rows,) = querysets or [self.get_queryset(instance=instances[0])]
        return super().get_prefetch_querysets(instances, _of_their_shops(rows, instances))


class _Reverse(ReverseManyToOneDescriptor):
    @cached_property
    def related_manager_cls(self) -> Any:
        manager: Any = super().related_manager_cls

        class OfTheShop(manager):
            def _apply_rel_filters(self, queryset: Any) -> Any:
                return super()._apply_rel_filters(queryset.filter(shop_id=self.instance.shop_id))

            def get_prefetch_querysets(self, instances: Any, querysets: Any = None) -> Any:
                (rows,) = querysets or [super(manager, self).get_queryset()]
                return super().get_prefetch_querysets(instances, _of_their_shops(rows, instances))

        return OfTheShop


class _Link(models.ForeignKey[Any, Any]):
    """A foreign key between rows of one shop. To the migrations it is Django's own."""

    forward_related_accessor_class = _Forward
    related_accessor_class = _Reverse

    def deconstruct(self) -> Any:
        name, _, args, kwargs = super().deconstruct()
        return name, "django.db.models.ForeignKey", args, kwargs

    def get_extra_descriptor_filter(self, instance: Any) -> dict[str, Any]:
        return {"shop_id": instance.shop_id}

    def get_extra_restriction(self, alias: str | None, related_alias: str | None) -> Any:
        """Of a join, in either direction; not where Django leaves one of its sides out."""
        if alias is None or related_alias is None:
            return None
        target: Any = self.remote_field.model._meta.get_field("shop")
        own: Any = self.model._meta.get_field("shop")
        return Exact(target.get_col(alias), own.get_col(related_alias))


if TYPE_CHECKING:
    from django.db.models import ForeignKey as Link  # what mypy's plugin for Django knows how to read
else:
    Link = _Link
